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

struct Pictures {
  StillSet stills;
  bool has_video = false;
  std::string remark;  // why there are none, empty where there are
};

// Review and stills come from one more reading. The recording was read already; should it be gone
// now, the numbers still stand.
Pictures write_pictures(const outcome::CaseOutcome& outcome, const std::filesystem::path& folder,
                        const ReportOptions& options) {
  Pictures pictures;
  if (outcome.rows.empty()) return pictures;
  try {
    switch (options.review) {
      case Review::Video:
        pictures.stills = write_review_video(outcome, folder / "review.mp4", options);
        pictures.has_video = true;
        break;
      case Review::Stills:
        pictures.stills = write_review_stills(outcome, folder / "review", options);
        break;
      case Review::None:
        pictures.stills = read_stills(outcome, options);
        break;
    }
  } catch (const video::VideoError& error) {
    pictures.remark =
        std::string("The recording could not be read a second time: ") + error.what() + ".";
    std::filesystem::remove(folder / "review.mp4");
  }
  return pictures;
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
  const Pictures pictures = write_pictures(outcome, folder, options);
  if (options.cancel.stop_requested()) throw Interrupted();
  files::write_whole(folder / "report.html",
                     page(outcome, pictures.stills, pictures.has_video, pictures.remark));
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
