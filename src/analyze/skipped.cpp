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
// An eye that moved by so much more than in the gaps before and after did so at one moment of this
// one, and where it was in between isn't known to half of it: a degree, and three hundredths of the
// limbal radius.
constexpr double sudden_turn_rad = 0.0175;
constexpr double sudden_shift = 0.03;
// A quarter of that: more than any smooth movement bends within a gap (an eye that swings by four
// degrees twice a second does by a tenth of a degree).
constexpr double most_swing_rad = 0.25 * sudden_turn_rad;
constexpr double most_swing_shift = 0.25 * sudden_shift;

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
  double value = 0.0;   // from that of `last`
  double sudden = 0.0;  // by how much it changes more than in both gaps beside, in as much time
};

// Cubic Hermite interpolation with the tangents of Catmull and Rom (finite differences over both
// neighbours), the chord's where the outer row has no value; but the line where they are more than
// `most_swing` apart: then something moved abruptly beside, and the cubic would swing beyond what
// was seen. Nothing where a middle row has no value.
std::optional<Between> between(const Around& around, double most_swing, const From& from) {
  const std::optional<double> end = from(*around.next);
  if (!from(*around.last) || !end) return std::nullopt;
  const double gap_s = around.gap_s();
  const double u = around.share();
  double tangent_last = *end;
  double tangent_next = *end;
  double beside = 0.0;  // the larger change of the gaps beside, scaled to this one's time
  if (around.before_last != nullptr) {
    if (const auto value = from(*around.before_last)) {
      const double beside_s = around.last->time_s - around.before_last->time_s;
      tangent_last = (*end - *value) * gap_s / (gap_s + beside_s);
      beside = std::abs(*value) * gap_s / beside_s;
    }
  }
  if (around.after_next != nullptr) {
    if (const auto value = from(*around.after_next)) {
      const double beside_s = around.after_next->time_s - around.next->time_s;
      tangent_next = *value * gap_s / (gap_s + beside_s);
      beside = std::max(beside, std::abs(*value - *end) * gap_s / beside_s);
    }
  }
  const double cubic = (u * u * (3.0 - 2.0 * u)) * *end +
                       u * (1.0 - u) * ((1.0 - u) * tangent_last - u * tangent_next);
  const double line = u * *end;
  return Between{std::abs(cubic - line) > most_swing ? line : cubic,
                 std::max(0.0, std::abs(*end) - beside)};
}

// The eye of a row between; false where it moved too roughly to be said.
bool put_eye(TimelineRow& row, const Around& around) {
  const TimelineRow& last = *around.last;
  if (!last.eye_found || !around.next->eye_found) return false;
  const double swing_px = most_swing_shift * last.limbus_radius_px;
  const auto along = [&](auto value) {
    return between(around, swing_px, [&](const TimelineRow& other) -> std::optional<double> {
      if (!other.eye_found) return std::nullopt;
      return value(other) - value(last);
    });
  };
  const auto turn =
      between(around, most_swing_rad, [&](const TimelineRow& other) -> std::optional<double> {
        if (!other.eye_rotation_rad) return std::nullopt;
        return angle::wrap_rotation(*other.eye_rotation_rad - *last.eye_rotation_rad);
      });
  const auto x = along([](const TimelineRow& other) { return other.limbus_px.x(); });
  const auto y = along([](const TimelineRow& other) { return other.limbus_px.y(); });
  const auto radius = along([](const TimelineRow& other) { return other.limbus_radius_px; });
  if (!turn || turn->sudden > sudden_turn_rad ||
      std::hypot(x->sudden, y->sudden) > sudden_shift * last.limbus_radius_px)
    return false;
  row.eye_found = true;
  row.limbus_px = last.limbus_px + Eigen::Vector2d(x->value, y->value);
  row.limbus_radius_px = last.limbus_radius_px + radius->value;
  row.eye_rotation_rad = angle::wrap_rotation(*last.eye_rotation_rad + turn->value);
  row.pose = around.share() < 0.5 ? last.pose : around.next->pose;
  for (int k = 0; k < 4; ++k)
    row.pose.picture_from_atlas(k) =
        last.pose.picture_from_atlas(k) +
        along([k](const auto& other) { return other.pose.picture_from_atlas(k); })->value;
  for (int k = 0; k < 2; ++k)
    row.pose.offset_px(k) = last.pose.offset_px(k) + along([k](const auto& other) {
                                                       return other.pose.offset_px(k);
                                                     })->value;
  row.pose.rotation_rad = angle::wrap_rotation(last.pose.rotation_rad + turn->value);
  return true;
}

void put_axis(TimelineRow& row, const Around& around, std::optional<double> planned_axis_rad) {
  const TimelineRow& last = *around.last;
  const TimelineRow& next = *around.next;
  const auto turn =
      between(around, most_swing_rad, [&](const TimelineRow& other) -> std::optional<double> {
        if (!other.axis || other.lens != last.lens) return std::nullopt;
        return angle::wrap_deviation(other.axis->value_rad - last.axis->value_rad);
      });
  if (!turn) return;
  const double turned = angle::wrap_deviation(next.axis->value_rad - last.axis->value_rad);
  const auto half_of = [](const TimelineRow& of) { return of.axis->high_rad - of.axis->value_rad; };
  // A lens that turns one way lies no further from the middle than half the turn.
  const double half = std::hypot(std::max(half_of(last), half_of(next)), 0.5 * turned);
  if (half > widest_half_rad) return;
  const double value = angle::wrap_axis(last.axis->value_rad + turn->value);
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
