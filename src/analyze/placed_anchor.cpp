#include "analyze/placed_anchor.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "analyze/follow.h"
#include "angle/angle.h"
#include "eye/atlas.h"
#include "statistics/agreement.h"

namespace rhumb::analyze {
namespace {

using outcome::LensState;
using outcome::TimelineRow;

Eigen::Vector2d vector_of(const casefile::PointPx& point) { return {point.x, point.y}; }

std::string name_of(const casefile::Anchor& anchor) {
  const std::string reader = anchor.reader.empty() ? "" : " (" + anchor.reader + ")";
  return fmt::format("The anchor at {:.2f} s{}", anchor.time_s, reader);
}

bool outside_picture(const casefile::Anchor& anchor, const video::StreamFacts& facts) {
  if (facts.width <= 0 || facts.height <= 0) return false;
  const auto outside = [&](const casefile::PointPx& point) {
    return point.x < -0.5 || point.y < -0.5 || point.x > facts.width - 0.5 ||
           point.y > facts.height - 0.5;
  };
  return std::any_of(anchor.lens_marks_px.begin(), anchor.lens_marks_px.end(), outside) ||
         std::any_of(anchor.limbus_px.begin(), anchor.limbus_px.end(), outside) ||
         std::any_of(anchor.ink_px.begin(), anchor.ink_px.end(), outside);
}

// Which lens the marks belong to: what the program saw last before, or else next after.
LensState lens_about(const std::vector<TimelineRow>& rows, std::size_t at) {
  const auto seen = [&](std::size_t k) {
    return rows[k].lens == LensState::Previous || rows[k].lens == LensState::New;
  };
  for (std::size_t k = at + 1; k-- > 0;) {
    if (seen(k)) return rows[k].lens;
  }
  for (std::size_t k = at; k < rows.size(); ++k) {
    if (seen(k)) return rows[k].lens;
  }
  return LensState::New;
}

// Why limbus or ink by hand can't belong to this pose; empty where they can.
std::string fault_of_ring(const casefile::Case& stated, const casefile::Anchor& anchor,
                          const PlacedAnchor& placed, const HandOptions& options) {
  if (!placed.pose_by_hand && anchor.limbus_px.size() >= 5) {
    std::vector<double> off;
    for (const auto& point : anchor.limbus_px) {
      off.push_back(std::abs(placed.pose.atlas_from(vector_of(point)).norm() - 1.0));
    }
    std::nth_element(off.begin(), off.begin() + static_cast<std::ptrdiff_t>(off.size() / 2),
                     off.end());
    if (off[off.size() / 2] > options.limbus_apart) {
      return fmt::format(
          "its limbus points lie {:.0f} % of the radius from the limbus that was found",
          100.0 * off[off.size() / 2]);
    }
  }
  const std::vector<double> meridians = ink_meridians(stated);
  if (!meridians.empty() && anchor.ink_px.size() == meridians.size() && placed.pose.found) {
    for (const auto& point : anchor.ink_px) {
      const double distance = placed.pose.atlas_from(vector_of(point)).norm();
      if (distance < 0.7 || distance > 1.7) return "its ink points lie far from the limbus";
    }
    const double worst = zero_by_ink(anchor.ink_px, meridians, placed.pose, options).worst_rad;
    if (worst > options.ink_apart_rad) {
      return fmt::format(
          "its ink points lie {:.0f} degrees from the stated meridians' spacing; check their order",
          angle::deg_from_rad(worst));
    }
  }
  return {};
}

std::string fault_of_ends(const PlacedAnchor& placed, const HandOptions& options) {
  const auto& [a, b] = placed.ends_atlas;
  if ((a - b).norm() < options.least_apart)
    return "its two lens marks lie too near together to be two ends";
  if (std::max(a.norm(), b.norm()) > options.farthest ||
      0.5 * (a + b).norm() > 0.5 * options.farthest) {
    return fmt::format("its lens marks lie far from the eye, {:.1f} limbal radii from its middle",
                       std::max(a.norm(), b.norm()));
  }
  return {};
}

void take_pose_by_hand(const casefile::Case& stated, PlacedAnchor& placed, const RowInputs& inputs,
                       std::vector<TimelineRow>& rows, const HandOptions& options) {
  const auto hand = pose_by_hand(stated, *placed.anchor, inputs.pass.frames, *placed.row,
                                 inputs.tie.zero_rad, options);
  if (!hand) {
    placed.fault = "the eye was not found in that frame; five limbus points would show where it is";
    return;
  }
  TimelineRow& row = rows[*placed.row];
  row.eye_found = true;
  row.limbus_px = hand->limbus.centre_px;
  row.limbus_radius_px = hand->limbus.radius_px;
  if (!hand->pose.found) {
    placed.fault = "the eye's turn in that frame is not known; the ink points would show it";
    return;
  }
  placed.pose = row.pose = hand->pose;
  placed.pose_by_hand = true;
  if (inputs.tie.axes_can_be_given || hand->turn_from_ink) {
    row.eye_rotation_rad =
        angle::wrap_rotation(hand->pose.rotation_rad - inputs.tie.rotation_zero_rad);
  }
  placed.axis_known = inputs.tie.axes_can_be_given || hand->turn_from_ink;
  // Ink in the frame itself ties the axis to the meridians whatever the recording's own reference
  // is worth.
  const double zero_se = hand->turn_from_ink ? 0.0 : inputs.tie.zero_se_rad;
  placed.common_var += hand->turn_se_rad * hand->turn_se_rad +
                       options.tilt_se_rad * options.tilt_se_rad + zero_se * zero_se;
}

void take_found_pose(PlacedAnchor& placed, const RowInputs& inputs, const TimelineRow& row) {
  placed.pose = row.pose;
  placed.axis_known = inputs.tie.axes_can_be_given;
  FineReport no_template;
  no_template.template_se_rad = 0.0;
  placed.common_var += std::pow(common_se(inputs, no_template, std::nullopt), 2.0);
  placed.own_var +=
      std::pow(row.pose.rotation_se_rad, 2.0) + 0.25 * std::pow(row.pose.shear_se, 2.0);
}

double hold_after(double apart_s, const HandOptions& options) {
  return std::exp(-options.move_rate_hz * apart_s);
}

}  // namespace

const Carried* PlacedAnchor::at(std::size_t wanted) const {
  const auto it =
      std::lower_bound(carried.begin(), carried.end(), wanted,
                       [](const Carried& one, std::size_t number) { return one.row < number; });
  return it != carried.end() && it->row == wanted ? &*it : nullptr;
}

PlacedAnchor place_anchor(const casefile::Case& stated, const casefile::Anchor& anchor,
                          const RowInputs& inputs, std::vector<TimelineRow>& rows,
                          const HandOptions& options) {
  PlacedAnchor placed;
  placed.anchor = &anchor;
  placed.name = name_of(anchor);
  placed.row = frame_at(inputs.pass.frames, anchor.time_s);
  if (!placed.row) {
    placed.fault = "it lies outside the recording, or outside the part of it that was read";
    return placed;
  }
  if (outside_picture(anchor, inputs.pass.facts)) {
    placed.fault = "it has points outside of the picture";
    return placed;
  }
  placed.common_var = options.refraction_se_rad * options.refraction_se_rad;
  placed.lens = lens_about(rows, *placed.row);
  TimelineRow& row = rows[*placed.row];
  if (row.pose.found && row.eye_found) {
    take_found_pose(placed, inputs, row);
  } else {
    take_pose_by_hand(stated, placed, inputs, rows, options);
  }
  if (placed.fault.empty()) placed.fault = fault_of_ring(stated, anchor, placed, options);
  if (!placed.fault.empty() || anchor.lens_marks_px.size() != 2) {
    placed.axis_known = false;
    return placed;
  }
  for (std::size_t end = 0; end < 2; ++end) {
    placed.ends_atlas[end] = placed.pose.atlas_from(vector_of(anchor.lens_marks_px[end]));
  }
  placed.fault = fault_of_ends(placed, options);
  if (placed.fault.empty() && !placed.axis_known) {
    placed.fault = "nothing ties the picture to the eye's meridians; the ink points would do so";
  }
  placed.axis_known = placed.fault.empty();
  const Eigen::Vector2d along = placed.ends_atlas[1] - placed.ends_atlas[0];
  placed.axis_rad = angle::wrap_axis(std::atan2(along.y(), along.x()) + inputs.tie.zero_rad);
  const double apart_px =
      (vector_of(anchor.lens_marks_px[1]) - vector_of(anchor.lens_marks_px[0])).norm();
  placed.own_var += 2.0 * std::pow(options.click_sd_px / std::max(1.0, apart_px), 2.0);
  return placed;
}

void carry_anchor(PlacedAnchor& placed, const RowInputs& inputs,
                  const std::vector<TimelineRow>& rows, const HandOptions& options) {
  const std::size_t from = *placed.row;
  std::vector<double> time_s;
  for (const TimelineRow& row : rows) time_s.push_back(row.time_s);
  FollowOptions following;
  following.reach_s = options.follow_s;
  following.gap_s = options.hold_s;
  std::vector<FollowedFrame> seen;
  if (!placed.pose_by_hand) {
    seen = follow_marks(inputs.pass.patches, time_s, from, placed.ends_atlas, following);
  }
  if (seen.empty()) seen.push_back({from, 0.0, 0.0});
  const auto other_lens = [&](std::size_t k) {
    return (rows[k].lens == LensState::Previous || rows[k].lens == LensState::New) &&
           rows[k].lens != placed.lens;
  };
  // Another lens lies there: nothing is carried to it or beyond it.
  std::size_t begin = from;
  std::size_t end = from + 1;
  while (begin > 0 && !other_lens(begin - 1)) --begin;
  while (end < rows.size() && !other_lens(end)) ++end;
  std::size_t near = 0;  // in `seen`
  for (std::size_t k = begin; k < end; ++k) {
    while (near + 1 < seen.size() && std::abs(time_s[seen[near + 1].frame] - time_s[k]) <=
                                         std::abs(time_s[seen[near].frame] - time_s[k])) {
      ++near;
    }
    const double apart_s = std::abs(time_s[seen[near].frame] - time_s[k]);
    if (apart_s > options.hold_s) continue;
    const bool followed = seen[near].frame == k;
    const double follow_var = seen[near].se_rad * seen[near].se_rad;
    placed.carried.push_back(
        {k, placed.axis_rad + seen[near].turn_rad,
         placed.own_var + follow_var + options.creep_rad * options.creep_rad * apart_s,
         hold_after(apart_s, options), followed});
  }
}

std::vector<outcome::ReaderAgreement> readers_agreement(const std::vector<PlacedAnchor>& anchors) {
  struct Pair {
    std::size_t rows_apart;
    std::size_t a;
    std::size_t b;
    double apart_rad;
  };
  std::vector<Pair> pairs;
  for (std::size_t a = 0; a < anchors.size(); ++a) {
    for (std::size_t b = 0; b < anchors.size(); ++b) {
      const std::string& first = anchors[a].anchor->reader;
      if (!anchors[a].axis_known || !anchors[b].axis_known || first.empty()) continue;
      if (first >= anchors[b].anchor->reader) continue;
      const std::size_t row = *anchors[b].row;
      const Carried* there = anchors[a].at(row);
      if (there == nullptr || !there->followed) continue;
      const std::size_t apart =
          row > *anchors[a].row ? row - *anchors[a].row : *anchors[a].row - row;
      pairs.push_back({apart, a, b, angle::wrap_deviation(anchors[b].axis_rad - there->axis_rad)});
    }
  }
  // The nearest first, and each anchor once against each other reader.
  std::stable_sort(pairs.begin(), pairs.end(), [](const Pair& one, const Pair& two) {
    return one.rows_apart < two.rows_apart;
  });
  std::map<std::pair<std::string, std::string>, std::vector<double>> apart;
  std::set<std::pair<std::size_t, std::string>> taken;
  for (const Pair& pair : pairs) {
    const std::string& first = anchors[pair.a].anchor->reader;
    const std::string& second = anchors[pair.b].anchor->reader;
    if (taken.contains({pair.a, second}) || taken.contains({pair.b, first})) continue;
    taken.insert({pair.a, second});
    taken.insert({pair.b, first});
    apart[{first, second}].push_back(pair.apart_rad);
  }
  std::vector<outcome::ReaderAgreement> out;
  for (const auto& [readers, differences] : apart) {
    outcome::ReaderAgreement one;
    one.first = readers.first;
    one.second = readers.second;
    one.pairs = static_cast<int>(differences.size());
    for (const double difference : differences) {
      one.mean_rad += difference / static_cast<double>(differences.size());
      one.largest_rad = std::max(one.largest_rad, std::abs(difference));
    }
    if (const auto limits = statistics::bland_altman(differences)) {
      one.limits =
          outcome::Interval{one.mean_rad, limits->lower_limit.value, limits->upper_limit.value};
    }
    out.push_back(one);
  }
  return out;
}

}  // namespace rhumb::analyze
