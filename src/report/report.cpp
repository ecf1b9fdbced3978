#include "report/report.h"

#include "files/partial_file.h"
#include "files/staged_folder.h"
#include "report/embedded.h"
#include "report/page.h"
#include "report/result_json.h"
#include "report/review.h"
#include "report/stills.h"
#include "report/timeline_csv.h"
#include "video/error.h"

namespace rhumb::report {
namespace {

// The recording was read once already; should it be gone now, the numbers still stand.
bool write_review(const outcome::CaseOutcome& outcome, const std::filesystem::path& folder,
                  const ReportOptions& options, std::string& remark) {
  if (outcome.rows.empty() || options.review == Review::None) return false;
  try {
    if (options.review == Review::Stills) {
      write_review_stills(outcome, folder / "review", options);
      return false;
    }
    write_review_video(outcome, folder / "review.mp4", options);
    return true;
  } catch (const video::VideoError& error) {
    remark = std::string("The recording could not be read a second time: ") + error.what() + ".";
    std::filesystem::remove(folder / "review.mp4");
    return false;
  }
}

StillSet stills_for_page(const outcome::CaseOutcome& outcome, const ReportOptions& options,
                         std::string& remark) {
  if (!remark.empty()) return {};
  try {
    return make_stills(outcome, {}, options.cancel);
  } catch (const video::VideoError& error) {
    remark = std::string("The recording could not be read a second time: ") + error.what() + ".";
    return {};
  }
}

}  // namespace

const std::vector<std::string>& output_names() {
  static const std::vector<std::string> names = {"timeline.csv", "timeline.csv-metadata.json",
                                                 "report.html",  "review.mp4",
                                                 "review",       "result.json"};
  return names;
}

void write_into(const outcome::CaseOutcome& outcome, const std::filesystem::path& folder,
                const ReportOptions& options) {
  write_timeline_csv(outcome, folder / "timeline.csv");
  files::write_whole(folder / "timeline.csv-metadata.json", embedded::timeline_csv_metadata_json());
  std::string remark;
  const bool has_video = write_review(outcome, folder, options, remark);
  const StillSet stills = stills_for_page(outcome, options, remark);
  if (options.cancel.stop_requested()) throw Interrupted();
  files::write_whole(folder / "report.html", page(outcome, stills, has_video, remark));
  write_result_json(outcome, folder / "result.json");
}

void write_outcome(const outcome::CaseOutcome& outcome, const std::filesystem::path& folder,
                   const ReportOptions& options) {
  files::StagedFolder staged(folder);
  staged.begin();
  write_into(outcome, staged.staging(), options);
  staged.commit(output_names(), "result.json");
}

}  // namespace rhumb::report
