#include "analyze/anchors.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "angle/angle.h"

namespace rhumb::analyze {
namespace {

constexpr double click_sd_px = 2.0;  // of one click on a mark; common practice, no source
constexpr double reach_s = 0.5;      // a lens is taken to lie still this long about a clicked frame
constexpr double least_distance = 0.3;  // limbal radii between the two clicks
constexpr double z95 = 1.959963985;

std::size_t nearest_row(const std::vector<outcome::TimelineRow>& rows, double time_s) {
  const auto it = std::min_element(rows.begin(), rows.end(), [&](const auto& a, const auto& b) {
    return std::abs(a.time_s - time_s) < std::abs(b.time_s - time_s);
  });
  return static_cast<std::size_t>(it - rows.begin());
}

struct AnchorAxis {
  double axis_rad = 0.0;  // eye's meridians
  double se_rad = 0.0;
};

AnchorAxis axis_of(const casefile::Anchor& anchor, const outcome::TimelineRow& row,
                   const RowInputs& inputs) {
  const Eigen::Vector2d a =
      row.pose.atlas_from({anchor.lens_marks_px[0].x, anchor.lens_marks_px[0].y});
  const Eigen::Vector2d b =
      row.pose.atlas_from({anchor.lens_marks_px[1].x, anchor.lens_marks_px[1].y});
  const Eigen::Vector2d along = b - a;
  AnchorAxis out;
  out.axis_rad = angle::wrap_axis(std::atan2(along.y(), along.x()) + inputs.tie.zero_rad);
  const double distance_px = along.norm() * row.limbus_radius_px;
  out.se_rad = std::hypot(std::sqrt(2.0) * click_sd_px / std::max(1.0, distance_px),
                          common_se(inputs, inputs.fine.current));
  return out;
}

void put(outcome::TimelineRow& row, const AnchorAxis& anchor,
         std::optional<double> planned_axis_rad) {
  if (row.axis && row.axis->high_rad - row.axis->value_rad <= z95 * anchor.se_rad) return;
  row.axis = outcome::Interval{anchor.axis_rad, anchor.axis_rad - z95 * anchor.se_rad,
                               anchor.axis_rad + z95 * anchor.se_rad};
  row.confidence = std::erf(angle::rad_from_deg(1.0) / (anchor.se_rad * std::sqrt(2.0)));
  if (planned_axis_rad)
    row.deviation_rad = angle::wrap_deviation(anchor.axis_rad - *planned_axis_rad);
  row.rests_on_anchor = true;
  row.why_not.clear();
  if (row.lens != outcome::LensState::Previous) row.lens = outcome::LensState::New;
}

}  // namespace

std::vector<std::string> apply_anchors(const casefile::Case& stated, const RowInputs& inputs,
                                       std::vector<outcome::TimelineRow>& rows) {
  std::vector<std::string> warnings;
  for (const casefile::Anchor& anchor : stated.anchors) {
    if (anchor.lens_marks_px.size() != 2) continue;
    const std::string name = fmt::format("The anchor at {:.1f} s", anchor.time_s);
    if (rows.empty() || anchor.time_s < rows.front().time_s - reach_s ||
        anchor.time_s > rows.back().time_s + reach_s) {
      warnings.push_back(name + " lies outside the recording and was not used.");
      continue;
    }
    const std::size_t at = nearest_row(rows, anchor.time_s);
    if (!rows[at].eye_found || !inputs.tie.axes_can_be_given) {
      warnings.push_back(name +
                         " was not used: the eye or its meridians are not known in that frame.");
      continue;
    }
    const Eigen::Vector2d a =
        rows[at].pose.atlas_from({anchor.lens_marks_px[0].x, anchor.lens_marks_px[0].y});
    const Eigen::Vector2d b =
        rows[at].pose.atlas_from({anchor.lens_marks_px[1].x, anchor.lens_marks_px[1].y});
    if ((a - b).norm() < least_distance || std::max(a.norm(), b.norm()) > 1.0) {
      warnings.push_back(
          name + " was not used: its points do not lie at the two ends of a lens in this eye.");
      continue;
    }
    const AnchorAxis axis = axis_of(anchor, rows[at], inputs);
    if (rows[at].axis) {
      const double apart = angle::wrap_deviation(axis.axis_rad - rows[at].axis->value_rad);
      const double half = rows[at].axis->high_rad - rows[at].axis->value_rad;
      if (std::abs(apart) > 1.5 * std::hypot(half, z95 * axis.se_rad)) {
        warnings.push_back(
            fmt::format("{} contradicts the frames around it by {:.1f} degrees and was not used.",
                        name, std::abs(angle::deg_from_rad(apart))));
        continue;
      }
    }
    for (outcome::TimelineRow& row : rows) {
      if (row.eye_found && std::abs(row.time_s - anchor.time_s) <= reach_s) {
        put(row, axis, inputs.planned_axis_rad);
      }
    }
  }
  return warnings;
}

}  // namespace rhumb::analyze
