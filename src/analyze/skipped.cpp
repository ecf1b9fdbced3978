#include "analyze/skipped.h"

#include <algorithm>
#include <cmath>
#include <functional>

#include "analyze/error_law.h"
#include "analyze/rows.h"
#include "angle/angle.h"

namespace rhumb::analyze {
namespace {

using outcome::TimelineRow;

// Between the usual 50 and 30 pictures a second: at 30 and less all are looked at.
constexpr double least_interval_s = 1.0 / 45.0;
constexpr double same_s = 1e-6;
// A row further off than this many times the gap says nothing about how things moved in it.
constexpr double far_gaps = 2.5;
// Line and cubic agree where a movement is smooth. A degree, and three hundredths of the limbal
// radius: beyond, the eye of a row between could be off by more than is useful.
constexpr double unsmooth_turn_rad = 0.0175;
constexpr double unsmooth_shift = 0.03;

// The rows around one that was skipped, with its place between the middle two.
struct Around {
  const TimelineRow* before_last = nullptr;  // null where there is none near enough
  const TimelineRow* last = nullptr;
  const TimelineRow* next = nullptr;
  const TimelineRow* after_next = nullptr;
  double time_s = 0.0;

  double gap_s() const { return next->time_s - last->time_s; }
  double share() const { return gap_s() > 0.0 ? (time_s - last->time_s) / gap_s() : 0.5; }
};

// A quantity of the rows, as how far it lies from that of `last`; nothing where a row has none.
using From = std::function<std::optional<double>(const TimelineRow&)>;

struct Between {
  double on_line = 0.0;
  double on_cubic = 0.0;
};

// Cubic Hermite interpolation with the tangents of Catmull and Rom (finite differences over both
// neighbours); the chord's where the outer row has no value. Nothing where a middle row has none.
std::optional<Between> between(const Around& around, const From& from) {
  const std::optional<double> end = from(*around.next);
  if (!from(*around.last) || !end) return std::nullopt;
  const double gap_s = around.gap_s();
  const double u = around.share();
  double tangent_last = *end;
  double tangent_next = *end;
  if (around.before_last != nullptr)
    if (const auto value = from(*around.before_last))
      tangent_last = (*end - *value) * gap_s / (around.next->time_s - around.before_last->time_s);
  if (around.after_next != nullptr)
    if (const auto value = from(*around.after_next))
      tangent_next = *value * gap_s / (around.after_next->time_s - around.last->time_s);
  const double cubic = (u * u * (3.0 - 2.0 * u)) * *end +
                       u * (1.0 - u) * ((1.0 - u) * tangent_last - u * tangent_next);
  return Between{u * *end, cubic};
}

// The eye of a row between; false where it moved too roughly to be said.
bool put_eye(TimelineRow& row, const Around& around) {
  const TimelineRow& last = *around.last;
  if (!last.eye_found || !around.next->eye_found) return false;
  const auto along = [&](auto value) {
    return between(around, [&](const TimelineRow& other) -> std::optional<double> {
      if (!other.eye_found) return std::nullopt;
      return value(other) - value(last);
    });
  };
  const auto turn = between(around, [&](const TimelineRow& other) -> std::optional<double> {
    if (!other.eye_rotation_rad) return std::nullopt;
    return angle::wrap_rotation(*other.eye_rotation_rad - *last.eye_rotation_rad);
  });
  const auto x = along([](const TimelineRow& other) { return other.limbus_px.x(); });
  const auto y = along([](const TimelineRow& other) { return other.limbus_px.y(); });
  const auto radius = along([](const TimelineRow& other) { return other.limbus_radius_px; });
  if (!turn || std::abs(turn->on_line - turn->on_cubic) > unsmooth_turn_rad) return false;
  const double off_px = std::hypot(x->on_line - x->on_cubic, y->on_line - y->on_cubic);
  if (off_px > unsmooth_shift * last.limbus_radius_px) return false;
  row.eye_found = true;
  row.limbus_px = last.limbus_px + Eigen::Vector2d(x->on_cubic, y->on_cubic);
  row.limbus_radius_px = last.limbus_radius_px + radius->on_cubic;
  row.eye_rotation_rad = angle::wrap_rotation(*last.eye_rotation_rad + turn->on_cubic);
  row.pose = around.share() < 0.5 ? last.pose : around.next->pose;
  for (int k = 0; k < 4; ++k)
    row.pose.picture_from_atlas(k) =
        last.pose.picture_from_atlas(k) +
        along([k](const auto& other) { return other.pose.picture_from_atlas(k); })->on_cubic;
  for (int k = 0; k < 2; ++k)
    row.pose.offset_px(k) = last.pose.offset_px(k) + along([k](const auto& other) {
                                                       return other.pose.offset_px(k);
                                                     })->on_cubic;
  row.pose.rotation_rad = angle::wrap_rotation(last.pose.rotation_rad + turn->on_cubic);
  return true;
}

void put_axis(TimelineRow& row, const Around& around, std::optional<double> planned_axis_rad) {
  const TimelineRow& last = *around.last;
  const TimelineRow& next = *around.next;
  const auto turn = between(around, [&](const TimelineRow& other) -> std::optional<double> {
    if (!other.axis || other.lens != last.lens) return std::nullopt;
    return angle::wrap_deviation(other.axis->value_rad - last.axis->value_rad);
  });
  if (!turn) return;
  const double turned = angle::wrap_deviation(next.axis->value_rad - last.axis->value_rad);
  const auto half_of = [](const TimelineRow& of) { return of.axis->high_rad - of.axis->value_rad; };
  // A lens that turns one way lies no further from the middle than half the turn.
  const double half = std::hypot(std::max(half_of(last), half_of(next)), 0.5 * turned);
  if (half > widest_half_rad) return;
  const double value = angle::wrap_axis(last.axis->value_rad + turn->on_cubic);
  row.axis = outcome::Interval{value, value - half, value + half};
  row.half_width_50_rad = half_share * half;
  row.confidence = std::min(last.confidence, next.confidence);
  row.rests_on_anchor = last.rests_on_anchor || next.rests_on_anchor;
  if (planned_axis_rad) row.deviation_rad = angle::wrap_deviation(value - *planned_axis_rad);
}

TimelineRow row_between(const SkippedFrame& skipped, const Around& around,
                        std::optional<double> planned_axis_rad) {
  const TimelineRow& nearest = around.share() < 0.5 ? *around.last : *around.next;
  TimelineRow row;
  row.lens = nearest.lens;
  row.moving = nearest.moving;
  const bool eye = put_eye(row, around);
  if (eye) put_axis(row, around, planned_axis_rad);
  if (!row.axis) {
    row.why_not = nearest.why_not;
    if (row.why_not.empty()) row.why_not = around.last->why_not;
    if (row.why_not.empty()) row.why_not = around.next->why_not;
    if (!eye || row.why_not.empty())
      row.why_not = "the picture was passed over, and those around it don't say";
  }
  row.frame = skipped.index;
  row.time_s = skipped.time_s;
  row.damaged = skipped.damaged;
  row.looked_at = false;
  return row;
}

Around around_of(const std::vector<TimelineRow>& rows, std::size_t next, double time_s) {
  Around around{nullptr, &rows[next - 1], &rows[next], nullptr, time_s};
  const double reach_s = far_gaps * around.gap_s() + same_s;
  if (next >= 2 && rows[next - 1].time_s - rows[next - 2].time_s <= reach_s)
    around.before_last = &rows[next - 2];
  if (next + 1 < rows.size() && rows[next + 1].time_s - rows[next].time_s <= reach_s)
    around.after_next = &rows[next + 1];
  return around;
}

}  // namespace

PictureChoice::PictureChoice(const casefile::Case& stated, bool every) : every_(every) {
  for (const casefile::Anchor& anchor : stated.anchors) by_hand_s_.push_back(anchor.time_s);
}

bool PictureChoice::looks_at(double time_s, bool is_key) {
  const bool by_hand = std::any_of(by_hand_s_.begin(), by_hand_s_.end(), [&](double marked_s) {
    return std::abs(time_s - marked_s) < least_interval_s;
  });
  if (every_ || is_key || by_hand || !last_s_ || time_s >= *last_s_ + least_interval_s - same_s) {
    last_s_ = time_s;
    return true;
  }
  return false;
}

std::vector<TimelineRow> with_skipped(const std::vector<TimelineRow>& rows,
                                      const std::vector<SkippedFrame>& skipped,
                                      std::optional<double> planned_axis_rad) {
  if (rows.empty()) return rows;
  std::vector<TimelineRow> out;
  out.reserve(rows.size() + skipped.size());
  std::size_t next = 0;
  for (const SkippedFrame& one : skipped) {
    while (next < rows.size() && rows[next].frame < one.index) out.push_back(rows[next++]);
    if (next > 0 && next < rows.size()) {
      out.push_back(row_between(one, around_of(rows, next, one.time_s), planned_axis_rad));
      continue;
    }
    out.push_back(next == 0 ? rows.front() : rows.back());
    out.back().frame = one.index;
    out.back().time_s = one.time_s;
    out.back().damaged = one.damaged;
    out.back().looked_at = false;
  }
  out.insert(out.end(), rows.begin() + static_cast<std::ptrdiff_t>(next), rows.end());
  return out;
}

}  // namespace rhumb::analyze
