#include "analyze/by_hand.h"

#include <fmt/core.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "angle/angle.h"
#include "eye/circle_fit.h"
#include "eye/orientation.h"
#include "eye/register.h"

namespace rhumb::analyze {
namespace {

using casefile::PointPx;

Eigen::Vector2d vector_of(const PointPx& point) { return {point.x, point.y}; }

// The mean turn between places and where they should be, and how far the worst lies from it.
struct MeanTurn {
  double turn_rad = 0.0;
  double worst_rad = 0.0;
};

MeanTurn mean_turn(std::span<const double> from_rad, std::span<const double> to_rad) {
  double x = 0.0;
  double y = 0.0;
  for (std::size_t i = 0; i < from_rad.size(); ++i) {
    x += std::cos(to_rad[i] - from_rad[i]);
    y += std::sin(to_rad[i] - from_rad[i]);
  }
  MeanTurn mean{std::atan2(y, x), 0.0};
  for (std::size_t i = 0; i < from_rad.size(); ++i) {
    mean.worst_rad = std::max(
        mean.worst_rad, std::abs(angle::wrap_rotation(to_rad[i] - from_rad[i] - mean.turn_rad)));
  }
  return mean;
}

double ink_se(double marks, double radius_px, const HandOptions& options) {
  return std::hypot(options.ink_sd_rad, options.click_sd_px / std::max(1.0, radius_px)) /
         std::sqrt(marks);
}

std::vector<double> atlas_angles(std::span<const PointPx> points, const eye::EyePose& pose) {
  std::vector<double> angles;
  for (const PointPx& point : points) {
    const Eigen::Vector2d at = pose.atlas_from(vector_of(point));
    angles.push_back(std::atan2(at.y(), at.x()));
  }
  return angles;
}

struct Turn {
  double rad = 0.0;
  double se_rad = 0.0;
};

// The eye's turn in a frame where it was not found, from the nearest frames on both sides within a
// second.
std::optional<Turn> turn_beside(std::span<const SeenFrame> frames, std::size_t at,
                                const HandOptions& options) {
  constexpr double reach_s = 1.0;
  std::optional<Turn> sides[2];
  double apart_s[2] = {reach_s, reach_s};
  const auto look = [&](int side, std::size_t k) {
    const double apart = std::abs(frames[k].time_s - frames[at].time_s);
    if (!frames[k].pose.found || sides[side] || apart > reach_s) return;
    sides[side] = Turn{frames[k].pose.rotation_rad, frames[k].pose.rotation_se_rad};
    apart_s[side] = apart;
  };
  for (std::size_t k = at; k-- > 0 && frames[at].time_s - frames[k].time_s <= reach_s;) look(0, k);
  for (std::size_t k = at + 1; k < frames.size() && frames[k].time_s - frames[at].time_s <= reach_s;
       ++k)
    look(1, k);
  if (!sides[0] && !sides[1]) return std::nullopt;
  Turn turn = sides[0] ? *sides[0] : *sides[1];
  if (sides[0] && sides[1]) {
    const double share = apart_s[0] / std::max(1e-9, apart_s[0] + apart_s[1]);
    turn.rad += share * angle::wrap_rotation(sides[1]->rad - sides[0]->rad);
  }
  turn.se_rad = std::hypot(turn.se_rad, options.turn_se_rad + options.turn_rate_se_rad_s *
                                                                  std::min(apart_s[0], apart_s[1]));
  return turn;
}

}  // namespace

std::optional<HandCircle> circle_through(std::span<const PointPx> points) {
  std::vector<Eigen::Vector2d> at;
  for (const PointPx& point : points) at.push_back(vector_of(point));
  const auto linear = eye::fit_circle(at);
  if (!linear) return std::nullopt;
  HandCircle circle{linear->centre, linear->radius, 0.0};
  Eigen::MatrixXd lines(points.size(), 3);
  for (int round = 0; round < 10; ++round) {
    Eigen::VectorXd off(points.size());
    for (std::size_t i = 0; i < points.size(); ++i) {
      const auto row = static_cast<Eigen::Index>(i);
      const Eigen::Vector2d out = at[i] - circle.centre_px;
      const double distance = std::max(1e-9, out.norm());
      off(row) = distance - circle.radius_px;
      lines.row(row) << out.x() / distance, out.y() / distance, 1.0;
    }
    const Eigen::Vector3d step = lines.colPivHouseholderQr().solve(off);
    circle.centre_px += step.head<2>();
    circle.radius_px += step(2);
    circle.scatter_px = std::sqrt(off.squaredNorm() / static_cast<double>(points.size()));
    if (step.norm() < 1e-6) break;
  }
  if (!(circle.radius_px > 1.0 && circle.radius_px < 1e5)) return std::nullopt;
  return circle;
}

HandZero zero_by_ink(std::span<const PointPx> ink, std::span<const double> meridians_rad,
                     const eye::EyePose& pose, const HandOptions& options) {
  const std::vector<double> angles = atlas_angles(ink, pose);
  const MeanTurn mean = mean_turn(angles, meridians_rad);
  const double radius_px = std::sqrt(std::abs(pose.picture_from_atlas.determinant()));
  HandZero zero;
  zero.marks = static_cast<int>(ink.size());
  zero.zero_rad = mean.turn_rad;
  zero.worst_rad = mean.worst_rad;
  zero.se_rad = std::hypot(ink_se(zero.marks, radius_px, options), pose.rotation_se_rad);
  return zero;
}

std::vector<double> ink_meridians(const casefile::Case& stated) {
  for (const casefile::Reference& reference : stated.references) {
    if (reference.kind == casefile::ReferenceKind::Ink) return reference.meridians_rad;
  }
  return {};
}

std::optional<std::size_t> frame_at(std::span<const SeenFrame> frames, double time_s) {
  if (frames.empty()) return std::nullopt;
  const auto nearest =
      std::min_element(frames.begin(), frames.end(), [&](const auto& a, const auto& b) {
        return std::abs(a.time_s - time_s) < std::abs(b.time_s - time_s);
      });
  const double spacing = frames.size() > 1 ? (frames.back().time_s - frames.front().time_s) /
                                                 static_cast<double>(frames.size() - 1)
                                           : 0.04;
  if (std::abs(nearest->time_s - time_s) > 1.5 * spacing + 1e-6) return std::nullopt;
  return static_cast<std::size_t>(nearest - frames.begin());
}

void tie_by_hand(const casefile::Case& stated, const Pass& pass, Tie& tie,
                 const HandOptions& options) {
  const std::vector<double> meridians = ink_meridians(stated);
  if (tie.axes_are_relative || meridians.empty()) return;
  double weights = 0.0;
  double sum = 0.0;
  double first = 0.0;
  double judged_se = 0.0;
  int frames = 0;
  for (const casefile::Anchor& anchor : stated.anchors) {
    const auto frame = frame_at(pass.frames, anchor.time_s);
    if (anchor.ink_px.size() != meridians.size() || !frame || !pass.frames[*frame].pose.found)
      continue;
    const HandZero zero = zero_by_ink(anchor.ink_px, meridians, pass.frames[*frame].pose, options);
    if (zero.worst_rad > options.ink_apart_rad) continue;  // apply_anchors says so
    if (frames++ == 0) first = zero.zero_rad;
    const double weight = 1.0 / (zero.se_rad * zero.se_rad);
    sum += weight * angle::wrap_rotation(zero.zero_rad - first);
    weights += weight;
    // Who misjudges the middle of a mark does so in every frame: that part does not average out.
    judged_se = options.ink_sd_rad / std::sqrt(static_cast<double>(zero.marks));
  }
  if (frames == 0) return;
  const double by_hand = first + sum / weights;
  const double se = std::max(judged_se, std::sqrt(1.0 / weights));
  const double apart = angle::wrap_rotation(by_hand - tie.zero_rad);
  const double se_apart = std::hypot(se, tie.zero_se_rad);
  std::string note =
      fmt::format(" Ink marked by hand in {} frame{} fixes the meridians to {:.1f} degrees (95 %)",
                  frames, frames == 1 ? "" : "s", 1.96 * angle::deg_from_rad(se));
  if (!tie.axes_can_be_given || std::abs(apart) > 2.58 * se_apart) {
    if (tie.axes_can_be_given) {
      note += fmt::format(", {:.1f} degrees from what was found without it; it is taken instead",
                          std::abs(angle::deg_from_rad(apart)));
      tie.warnings.push_back(
          fmt::format("The ink marked by hand lies {:.1f} degrees from the reference that was "
                      "found; the marks by hand are used.",
                      std::abs(angle::deg_from_rad(apart))));
    }
    tie.zero_rad = by_hand;
    tie.zero_se_rad = se;
  } else {
    const double own = 1.0 / std::max(1e-8, tie.zero_se_rad * tie.zero_se_rad);
    tie.zero_rad += apart * (1.0 / (se * se)) / (own + 1.0 / (se * se));
    tie.zero_se_rad = std::sqrt(1.0 / (own + 1.0 / (se * se)));
    note += ", in agreement";
  }
  tie.axes_can_be_given = true;
  tie.rotation_zero_rad = angle::wrap_deviation(tie.zero_rad);
  for (outcome::ReferenceFinding& finding : tie.findings) {
    if (finding.kind != casefile::ReferenceKind::Ink) continue;
    finding.found = true;
    finding.se_rad = tie.zero_se_rad;
    finding.statement += note + ".";
  }
}

std::optional<HandPose> pose_by_hand(const casefile::Case& stated, const casefile::Anchor& anchor,
                                     std::span<const SeenFrame> frames, std::size_t frame,
                                     double zero_rad, const HandOptions& options) {
  if (anchor.limbus_px.size() < 5) return std::nullopt;
  const auto circle = circle_through(anchor.limbus_px);
  if (!circle) return std::nullopt;
  HandPose hand;
  hand.limbus = *circle;
  const Eigen::Matrix2d upright =
      eye::picture_from_upright(stated.video.superior, stated.video.mirrored);
  eye::EyePose& pose = hand.pose;
  pose.picture_from_atlas = circle->radius_px * upright;
  pose.offset_px = circle->centre_px;
  const std::vector<double> meridians = ink_meridians(stated);
  std::optional<Turn> turn;
  if (!meridians.empty() && anchor.ink_px.size() == meridians.size()) {
    std::vector<double> unturned =
        meridians;  // where the marks lie in the atlas of an eye that is not turned
    for (double& meridian : unturned) meridian -= zero_rad;
    const MeanTurn mean = mean_turn(unturned, atlas_angles(anchor.ink_px, pose));
    if (mean.worst_rad <= options.ink_apart_rad) {
      turn = Turn{mean.turn_rad,
                  ink_se(static_cast<double>(meridians.size()), circle->radius_px, options)};
      hand.turn_from_ink = true;
    }
  }
  if (!turn) turn = turn_beside(frames, frame, options);
  if (!turn) return hand;
  pose.found = true;
  pose.rotation_rad = turn->rad;
  pose.rotation_se_rad = hand.turn_se_rad = turn->se_rad;
  pose.picture_from_atlas =
      eye::linear_of(upright, {circle->radius_px, turn->rad, Eigen::Vector2d::Zero()});
  return hand;
}

}  // namespace rhumb::analyze
