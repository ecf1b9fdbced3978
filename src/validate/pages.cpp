// The validation's page for people and the part that it writes into a document.
#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <sstream>

#include "files/partial_file.h"
#include "files/user_error.h"
#include "outcome/caution.h"
#include "report/template.h"
#include "validate/page_texts.h"
#include "validate/plots.h"
#include "validate/run.h"
#include "validate/tables.h"
#include "validate/tally.h"
#include "validate/worst.h"

namespace rhumb::validate {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;

constexpr const char* begin_mark = "<!-- rhumb validate: begin -->";
constexpr const char* end_mark = "<!-- rhumb validate: end -->";

std::string percent(double share) { return fmt::format("{:.1f}", 100.0 * share); }

Json row_of(const Tally& t) {
  const bool given = t.given > 0;
  const bool stated = t.intervals > 0;
  std::string names;
  for (const std::string& name : t.names) names += (names.empty() ? "" : ", ") + name;
  return {{"level", t.condition.label},
          {"clips", t.clips},
          {"names", names},
          {"readable", t.readable},
          {"given", t.readable > 0 ? percent(t.given_share) : "none to read"},
          {"median", given ? fmt::format("{:.2f}", t.error_median_deg) : "none"},
          {"p95", given ? fmt::format("{:.2f}", t.error_p95_deg) : "none"},
          {"coverage", stated ? percent(t.coverage) : "none"},
          {"coverage_half", stated ? percent(t.coverage_half) : "none"},
          {"half", stated ? fmt::format("{:.2f}", t.half_width_deg) : "none"},
          {"ece", stated ? fmt::format("{:.3f}", t.calibration_error) : "none"},
          {"false", t.sure_wrong + t.no_lens},
          {"finals", fmt::format("{} of {}", t.finals_given, t.finals_measurable)},
          {"final_max", t.finals_given > 0 ? fmt::format("{:.2f}", t.final_max_deg) : "none"},
          {"final_median", t.finals_given > 0 ? fmt::format("{:.2f}", t.final_median_deg) : "none"},
          {"finals_covered", fmt::format("{} of {}", t.finals_covered, t.finals_given)},
          {"finals_false", t.finals_false},
          {"rotation", fmt::format("{:.3f}", t.rotation_median_deg)},
          {"rotation_p95", fmt::format("{:.3f}", t.rotation_p95_deg)}};
}

std::string file_name(std::string group) {
  std::replace(group.begin(), group.end(), ' ', '-');
  return group;
}

struct Image {
  std::string name;
  std::string bytes;
};

std::string jpeg(const cv::Mat& bgr) {
  cv::Mat small = bgr;
  if (bgr.cols > 800)
    cv::resize(bgr, small, {800, bgr.rows * 800 / bgr.cols}, 0, 0, cv::INTER_AREA);
  std::vector<unsigned char> bytes;
  cv::imencode(".jpg", small, bytes, {cv::IMWRITE_JPEG_QUALITY, 85});
  return {bytes.begin(), bytes.end()};
}

Json groups_of(const std::vector<Tally>& tallies, std::vector<Image>& images) {
  Json groups = Json::array();
  for (std::size_t i = 0; i + 1 < tallies.size();) {
    const std::string& name = tallies[i].condition.group;
    std::vector<const Tally*> levels;
    Json rows = Json::array();
    std::size_t j = i;
    for (; j + 1 < tallies.size() && tallies[j].condition.group == name; ++j) {
      levels.push_back(&tallies[j]);
      rows.push_back(row_of(tallies[j]));
    }
    const std::string file = "validation-" + file_name(name);
    images.push_back({file + "-error.svg", error_plot(levels)});
    images.push_back({file + "-coverage.svg", coverage_plot(levels)});
    groups.push_back({{"name", name},
                      {"plot", images[images.size() - 2].bytes},
                      {"cover_plot", images.back().bytes},
                      {"file", file},
                      {"rows", rows}});
    i = j;
  }
  return groups;
}

Json worst_of(const std::vector<ClipScore>& scores, const std::vector<Clip>& clips,
              std::vector<Image>& images) {
  Json worst = Json::array();
  for (const ClipScore* s : worst_clips(scores, 3)) {
    const auto clip =
        std::find_if(clips.begin(), clips.end(), [&](const Clip& c) { return c.name == s->clip; });
    if (clip == clips.end()) continue;
    const std::string file = fmt::format("validation-worst-{}.jpg", worst.size() + 1);
    images.push_back({file, jpeg(worst_picture(*clip, *s))});
    worst.push_back({{"clip", s->clip}, {"file", file}, {"reason", worst_reason(*s)}});
  }
  return worst;
}

Json values_of(const std::vector<ClipScore>& scores, const std::vector<Clip>& clips,
               const PageFacts& facts, std::vector<Image>& images) {
  const std::vector<Tally> tallies = tally(scores);
  std::vector<const ClipScore*> everything;
  for (const ClipScore& s : scores) everything.push_back(&s);
  const std::vector<CalibrationBin> bins = calibration(everything);
  const Tally& all = tallies.back();
  Json v = {{"caution", outcome::caution}, {"suite", facts.suite},     {"command", facts.command},
            {"seeds", facts.seeds},        {"version", RHUMB_VERSION}, {"build", facts.build},
            {"clips", scores.size()},      {"frames", all.frames},     {"readable", all.readable},
            {"intervals", all.intervals}};
  const Json over_all = row_of(all);
  for (const auto& [name, value] : over_all.items()) v["all_" + name] = value;
  v["limits"] = Json::array();
  for (const Limit& l : limits(tallies))
    v["limits"].push_back({{"group", l.group},
                           {"words", l.reached ? fmt::format("from {} ({} clip{})", l.label,
                                                             l.clips, l.clips == 1 ? "" : "s")
                                               : std::string("at no level of this suite")}});
  v["groups"] = groups_of(tallies, images);
  images.push_back({"validation-reliability.svg", reliability_plot(bins)});
  v["reliability"] = images.back().bytes;
  v["bins"] = Json::array();
  for (const CalibrationBin& b : bins)
    v["bins"].push_back({{"range", fmt::format("{:.1f} to {:.1f}", b.low, b.high)},
                         {"count", b.count},
                         {"stated", fmt::format("{:.3f}", b.stated)},
                         {"was", fmt::format("{:.3f}", b.was)}});
  v["worst"] = worst_of(scores, clips, images);
  return v;
}

std::string read_whole(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  std::ostringstream out;
  out << in.rdbuf();
  return out.str();
}

// The document with what stands between the marks replaced, or with the part at its end.
std::string with_part(const fs::path& document, const std::string& part) {
  const std::string block = std::string(begin_mark) + "\n" + part + end_mark + "\n";
  if (!fs::exists(document)) return "# How accurate it is\n\n" + block;
  const std::string text = read_whole(document);
  const auto from = text.find(begin_mark);
  const auto to = text.find(end_mark);
  if (from == std::string::npos && to == std::string::npos) return text + "\n" + block;
  if (from == std::string::npos || to == std::string::npos || to < from)
    throw UserError(document.string(), "", "holds one of two marks only",
                    fmt::format("put '{}' before and '{}' after the part to be replaced",
                                begin_mark, end_mark));
  const auto after = std::min(text.size(), to + std::string(end_mark).size() + 1);
  return text.substr(0, from) + block + text.substr(after);
}

}  // namespace

void write_pages(const std::vector<ClipScore>& scores, const std::vector<Clip>& clips,
                 const PageFacts& facts, const fs::path& folder) {
  const std::vector<Tally> tallies = tally(scores);
  std::vector<const ClipScore*> everything;
  for (const ClipScore& s : scores) everything.push_back(&s);
  std::vector<Image> images;
  Json values = values_of(scores, clips, facts, images);
  files::write_whole(folder / "clips.csv", clips_csv(scores));
  files::write_whole(folder / "conditions.csv", conditions_csv(tallies));
  files::write_whole(folder / "calibration.csv", calibration_csv(calibration(everything)));
  for (const Image& image : images) files::write_whole(folder / "images" / image.name, image.bytes);
  files::write_whole(folder / "report.html", report::fill(page_text, values));
  const std::string part = report::fill(part_text, values);
  files::write_whole(folder / "accuracy.md", with_part(folder / "no such file", part));
  if (facts.document.empty()) return;
  const fs::path place = facts.document.parent_path() / "images";
  for (const Image& image : images) files::write_whole(place / image.name, image.bytes);
  files::write_whole(facts.document, with_part(facts.document, part));
}

}  // namespace rhumb::validate
