// The page of a follow-up series and the writing of all its outputs.
#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "angle/angle.h"
#include "files/partial_file.h"
#include "files/staged_folder.h"
#include "outcome/caution.h"
#include "report/base64.h"
#include "report/degrees.h"
#include "report/embedded.h"
#include "report/hash_source.h"
#include "report/json_values.h"
#include "report/series_report.h"
#include "report/template.h"
#include "report/words.h"

namespace rhumb::report {
namespace {

using followup::PhotoResult;
using followup::SeriesOutcome;
using followup::VisitResult;

constexpr int straight_px = 760;       // width of a straightened photograph
constexpr double straight_half = 1.5;  // limbal radii shown each way

std::string jpeg_address(const cv::Mat& bgr) {
  std::vector<std::uint8_t> bytes;
  cv::imencode(".jpg", bgr, bytes, {cv::IMWRITE_JPEG_QUALITY, 85});
  return "data:image/jpeg;base64," + base64(bytes);
}

// The photograph with head tilt, tilt and magnification taken out: the eye as in the first
// photograph's frame.
cv::Mat straightened(const PhotoResult& photo) {
  const double scale = straight_px / (2 * straight_half);
  const double radius = photo.limbus->mean_radius_px() * photo.reduced;
  const Eigen::Vector2d centre = photo.limbus->centre_px * photo.reduced +
                                 radius * Eigen::Vector2d(photo.offset.x(), -photo.offset.y());
  // Page pixel (i, j) shows p = ((i - c) / scale, -(j - c) / scale).
  const double c = 0.5 * (straight_px - 1);
  const Eigen::Matrix2d flip = Eigen::Vector2d(1, -1).asDiagonal();
  const Eigen::Matrix2d m = radius / scale * flip * photo.linear * flip;
  const Eigen::Vector2d t = centre - m * Eigen::Vector2d(c, c);
  const cv::Matx23d map(m(0, 0), m(0, 1), t.x(), m(1, 0), m(1, 1), t.y());
  cv::Mat out;
  cv::warpAffine(photo.upright_bgr, out, map, cv::Size(straight_px, straight_px),
                 cv::INTER_LINEAR | cv::WARP_INVERSE_MAP, cv::BORDER_CONSTANT);
  return out;
}

Json marks_of(const PhotoResult& photo) {
  if (photo.chosen < 0 || !photo.matched) return nullptr;
  const auto& mark = photo.candidates[static_cast<std::size_t>(photo.chosen)];
  const Eigen::Matrix2d back = photo.linear.inverse();
  const Eigen::Vector2d a = back * (mark.end_a - photo.offset),
                        b = back * (mark.end_b - photo.offset);
  const Eigen::Vector2d along = (a - b).normalized();
  const auto at = [](const Eigen::Vector2d& p) {
    return Json::array({number(p.x()), number(-p.y())});
  };
  return {
      {"a", at(a)}, {"b", at(b)}, {"a_out", at(a + 0.75 * along)}, {"b_out", at(b - 0.75 * along)}};
}

std::string turn_text(const std::optional<outcome::Interval>& turn) {
  if (!turn) return "–";
  const IntervalDeg v = deviation_deg(*turn);
  return fmt::format("{}° ({} to {})", signed_text(v.value), signed_text(v.low),
                     signed_text(v.high));
}

std::string axis_words(const std::optional<outcome::Interval>& axis) {
  if (!axis) return "–";
  const IntervalDeg v = axis_deg(*axis);
  return fmt::format("{}° ({:.1f} to {:.1f})", axis_text(v.value), v.low, v.high);
}

// Logarithm of the days since the first visit (an hour and three months both find room); visits
// without dates stand one apart.
std::vector<double> times_of(const SeriesOutcome& series) {
  std::vector<double> out;
  const auto day = [](const std::string& iso) -> std::optional<double> {
    int y = 0, m = 0, d = 0;
    if (std::sscanf(iso.c_str(), "%d-%d-%d", &y, &m, &d) != 3) return std::nullopt;
    // Days of the civil calendar (H. Fliegel and T. van Flandern 1968).
    const int a = (14 - m) / 12;
    const int yy = y + 4800 - a, mm = m + 12 * a - 3;
    return d + (153 * mm + 2) / 5 + 365 * yy + yy / 4 - yy / 100 + yy / 400;
  };
  bool dated = true;
  for (const VisitResult& visit : series.visits) {
    const auto d = day(visit.date);
    dated = dated && d.has_value();
    out.push_back(d.value_or(0));
  }
  const double first = out.empty() ? 0.0 : *std::min_element(out.begin(), out.end());
  for (std::size_t i = 0; i < out.size(); ++i)
    out[i] = dated ? std::log1p(out[i] - first) : static_cast<double>(i);
  return out;
}

Json plot_of(const SeriesOutcome& series) {
  constexpr double left = 46, right = 590, top = 14, bottom = 196;
  const std::vector<double> time = times_of(series);
  const double last = std::max(1e-9, *std::max_element(time.begin(), time.end()));
  double most = 1;
  for (const VisitResult& visit : series.visits)
    if (visit.drift) {
      const IntervalDeg v = deviation_deg(*visit.drift);
      most = std::max({most, std::abs(v.low), std::abs(v.high)});
    }
  const double steps[] = {0.5, 1, 2, 5, 10, 20, 30};
  double step = 30;
  for (const double s : steps)
    if (most / s <= 3) {
      step = s;
      break;
    }
  const double span = step * std::ceil(most / step);
  const auto y_of = [&](double deg) {
    return 0.5 * (top + bottom) - deg / span * 0.5 * (bottom - top);
  };
  Json plot;
  plot["ticks"] = Json::array();
  for (double deg = -span; deg <= span + 1e-9; deg += step)
    plot["ticks"].push_back(
        {{"y", number(y_of(deg))}, {"text", signed_text(deg, step < 1 ? 1 : 0)}});
  plot["points"] = Json::array();
  for (std::size_t i = 0; i < series.visits.size(); ++i) {
    const VisitResult& visit = series.visits[i];
    const double x = left + 24 + time[i] / last * (right - left - 60);
    Json point = {{"x", number(x)}, {"label", visit.label}, {"anchor_y", number(bottom + 16)}};
    point["seen"] = nullptr;
    if (visit.drift) {
      const IntervalDeg v = deviation_deg(*visit.drift);
      point["seen"] = {{"y", number(y_of(v.value))},
                       {"low_y", number(y_of(v.low))},
                       {"high_y", number(y_of(v.high))}};
    }
    plot["points"].push_back(std::move(point));
  }
  return plot;
}

}  // namespace

std::string series_page(const SeriesOutcome& series, const outcome::RunRecord& run) {
  Json values;
  values["id"] = series.stated.id;
  values["eye"] = word(series.stated.eye);
  values["caution"] = outcome::caution;
  values["verdict"] = series.verdict;
  values["planned"] = nullptr;
  if (series.stated.plan_axis_rad)
    values["planned"] = {{"axis", axis_text(angle::deg_from_rad(*series.stated.plan_axis_rad))}};
  values["visits"] = Json::array();
  for (const VisitResult& visit : series.visits)
    values["visits"].push_back({{"label", visit.label},
                                {"date", visit.date},
                                {"axis", axis_words(visit.axis)},
                                {"tilt", turn_text(visit.head_tilt)},
                                {"drift", turn_text(visit.drift)},
                                {"step", turn_text(visit.step)},
                                {"why_not", visit.why_not}});
  values["plot"] = plot_of(series);
  values["notes"] = series.notes;
  values["has_notes"] = !series.notes.empty();
  Json pictures = Json::array();
  for (const PhotoResult& photo : series.photos) {
    if (!photo.matched || !photo.limbus) continue;
    const auto& visit = series.visits[static_cast<std::size_t>(photo.visit)];
    pictures.push_back(
        {{"name", visit.label + " · " + photo.file.filename().string()},
         {"image", jpeg_address(straightened(photo))},
         {"axis",
          photo.axis_rad ? Json(axis_text(angle::deg_from_rad(*photo.axis_rad))) : Json(nullptr)},
         {"axis_deg", degrees_or_null(photo.axis_rad)},
         {"marks", marks_of(photo)}});
  }
  values["comparable"] = pictures.size() > 1;
  values["pairs"] = Json::array();
  for (const auto& pair : series.pairs)
    values["pairs"].push_back(
        {{"first", series.photos[static_cast<std::size_t>(pair.first)].file.filename().string()},
         {"second", series.photos[static_cast<std::size_t>(pair.second)].file.filename().string()},
         {"turn", pair.match.accepted
                      ? signed_text(angle::deg_from_rad(pair.match.rotation_rad), 2) + "°"
                      : std::string("–")},
         {"se", pair.match.accepted
                    ? fmt::format("{:.2f}°", angle::deg_from_rad(pair.match.rotation_se_rad))
                    : std::string("–")},
         {"sectors", pair.match.sectors_agreeing},
         {"remark", pair.outlier          ? "at odds with the others, left out"
                    : pair.match.accepted ? ""
                                          : "refused: " + pair.match.reason}});
  values["version"] = run.program_version;
  values["commit"] = run.commit;
  const std::string style(std::string(embedded::page_css()) +
                          std::string(embedded::followup_css()));
  const std::string script(embedded::followup_js());
  values["style"] = style;
  values["script"] = script;
  values["style_hashes"] = hash_source(style);
  values["script_hashes"] = hash_source(script);
  values["data"] = json_for_script({{"half", straight_half}, {"pictures", std::move(pictures)}});
  return fill(embedded::followup_html(), values);
}

const std::vector<std::string>& series_output_names() {
  static const std::vector<std::string> names = {"drift.csv", "report.html", "result.json"};
  return names;
}

void write_series(const SeriesOutcome& series, const outcome::RunRecord& run,
                  const std::filesystem::path& folder) {
  files::StagedFolder staged(folder);
  staged.begin();
  files::write_whole(staged.staging() / "drift.csv", drift_csv(series));
  files::write_whole(staged.staging() / "report.html", series_page(series, run));
  files::write_whole(staged.staging() / "result.json", series_json(series, run));
  staged.commit(series_output_names(), "result.json");
}

}  // namespace rhumb::report
