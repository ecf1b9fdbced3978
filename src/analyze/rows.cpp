#include "analyze/rows.h"

#include <algorithm>
#include <cmath>

#include "analyze/belief.h"
#include "analyze/error_law.h"
#include "analyze/refraction.h"
#include "angle/angle.h"

namespace rhumb::analyze {
namespace {

using outcome::Interval;
using outcome::LensState;
using outcome::TimelineRow;
using timeline::Phase;

constexpr double z95 = 1.959963985;       // two-sided 95 % point of the normal distribution
constexpr double path_reach_rad = 0.052;  // 3 degrees: belief() is of an axis that near the path
// Standard deviation of how fast a lens may turn unseen, in a frame without a reading of its own
// between readings that don't agree: 20 degrees a second.
constexpr double unseen_turn_rad_s = 0.35;
constexpr double longest_bridged_s = 4.0;  // between two own readings that agree
// A frame's stamp is when its exposure starts, ends or anything between; a lens that turns is seen
// where it was on average. Standard deviation, as a share of the turn from frame to frame: between
// half a frame's turn, evenly spread (0.29), and less for an exposure that is short.
constexpr double share_of_turn = 0.25;
constexpr double most_turn_rad = 0.07;  // jerks are over before half a frame has passed

// The larger of the turns since the frame before and to the one after, as far as it goes in the
// time of one picture, where those between are passed over.
double turn_about(const std::vector<SeenFrame>& frames, const FineReading& fine, std::size_t k) {
  double turn = 0.0;
  const auto look_at = [&](std::size_t other) {
    if (!fine.frames[other].given || fine.frames[other].phase != fine.frames[k].phase) return;
    const double apart_s = std::abs(frames[other].time_s - frames[k].time_s);
    const double picture_s = frames[std::max(other, k)].interval_s;
    const double share = picture_s > 0.0 && picture_s < apart_s ? picture_s / apart_s : 1.0;
    turn = std::max(turn, share * std::abs(fine.frames[other].seen_rad - fine.frames[k].seen_rad));
  };
  if (k > 0) look_at(k - 1);
  if (k + 1 < fine.frames.size()) look_at(k + 1);
  return std::min(turn, most_turn_rad);
}

// Time to the nearest frame with a reading of its own, and whether the readings on both sides
// agree.
struct Support {
  double nearest_s = 1e9;
  bool bridged = false;
};

std::vector<Support> support_of(const std::vector<SeenFrame>& frames, const FineReading& fine) {
  std::vector<Support> out(frames.size());
  std::vector<std::ptrdiff_t> before(frames.size(), -1);
  std::vector<std::ptrdiff_t> after(frames.size(), -1);
  std::ptrdiff_t last = -1;
  for (std::size_t k = 0; k < frames.size(); ++k) {
    if (fine.frames[k].holds()) last = static_cast<std::ptrdiff_t>(k);
    before[k] = last;
  }
  last = -1;
  for (std::size_t k = frames.size(); k-- > 0;) {
    if (fine.frames[k].holds()) last = static_cast<std::ptrdiff_t>(k);
    after[k] = last;
  }
  for (std::size_t k = 0; k < frames.size(); ++k) {
    const auto same_phase = [&](std::ptrdiff_t other) {
      return other >= 0 &&
             fine.frames[static_cast<std::size_t>(other)].phase == fine.frames[k].phase;
    };
    double gap = 0.0;
    bool both = true;
    for (const std::ptrdiff_t other : {before[k], after[k]}) {
      if (!same_phase(other)) {
        both = false;
        continue;
      }
      const double apart =
          std::abs(frames[static_cast<std::size_t>(other)].time_s - frames[k].time_s);
      out[k].nearest_s = std::min(out[k].nearest_s, apart);
      gap += apart;
    }
    if (both && gap <= longest_bridged_s) {
      const double turn = fine.frames[static_cast<std::size_t>(after[k])].seen_rad -
                          fine.frames[static_cast<std::size_t>(before[k])].seen_rad;
      out[k].bridged = std::abs(turn) < 0.017;
    }
  }
  return out;
}

LensState state_of(const RowInputs& inputs, std::size_t frame) {
  const Phase phase = inputs.fine.frames[frame].phase;
  if (phase == Phase::Previous && inputs.previous_believed) return LensState::Previous;
  if (phase == Phase::New && inputs.current_believed) return LensState::New;
  // Marks that were followed after a lens that was read, though too poor to be believed, may be
  // another one's or still its own.
  if (phase == Phase::New && inputs.previous_believed &&
      inputs.coarse.posterior.near_path[frame] > 0.5F)
    return LensState::Unknown;
  return inputs.lens_column_known ? LensState::None : LensState::Unknown;
}

void put_eye(TimelineRow& row, const SeenFrame& seen, const RowInputs& inputs) {
  row.eye_found = seen.pose.found && inputs.atlas != nullptr;
  row.pose = seen.pose;
  if (!row.eye_found) return;
  const auto limbus = eye::limbus_in_picture(*inputs.atlas, seen.pose);
  row.limbus_px = limbus.centre_px;
  row.limbus_radius_px = limbus.mean_radius_px();
  row.eye_rotation_rad =
      angle::wrap_rotation(seen.pose.rotation_rad - inputs.tie.rotation_zero_rad);
}

void put_axis(TimelineRow& row, const FineAxis& fine, const RowInputs& inputs, double se_rad,
              double probability) {
  const double value = angle::wrap_axis(fine.axis_rad + inputs.tie.zero_rad);
  // `probability` is that of an axis within its reach of the path. Where it is under 95 %, no
  // narrower interval can hold 95 %.
  const double half = probability < 0.95 ? std::max(path_reach_rad, z95 * se_rad) : z95 * se_rad;
  row.axis = Interval{value, value - half, value + half};
  row.half_width_50_rad = half_share * half;
  row.confidence = probability * error_within(angle::rad_from_deg(1.0), z95 * se_rad);
  if (inputs.planned_axis_rad) {
    row.deviation_rad = angle::wrap_deviation(value - *inputs.planned_axis_rad);
  }
}

constexpr const char* unclear_marks = "the lens marks are not clear enough";

// A stay in which no frame could be read is the path's guess, as of an instrument in the gap
// between two lenses; so is one of less than a second that the path is never sure of.
void doubt_unread_stays(std::vector<TimelineRow>& rows) {
  constexpr double short_s = 1.0;
  std::size_t from = 0;
  while (from < rows.size()) {
    std::size_t to = from;
    bool read = false;
    bool sure = false;
    for (; to < rows.size() && rows[to].lens == rows[from].lens; ++to) {
      if (!rows[to].axis) continue;
      read = true;
      sure = sure || rows[to].axis->high_rad - rows[to].axis->value_rad < path_reach_rad;
    }
    const bool lens = rows[from].lens == LensState::Previous || rows[from].lens == LensState::New;
    const bool brief = rows[to - 1].time_s - rows[from].time_s < short_s;
    for (std::size_t k = from; lens && (!read || (brief && !sure)) && k < to; ++k) {
      rows[k].lens = LensState::Unknown;
      rows[k].moving = false;
      if (!rows[k].axis) continue;
      rows[k].axis.reset();
      rows[k].half_width_50_rad = 0.0;
      rows[k].deviation_rad.reset();
      rows[k].confidence = 0.0;
      rows[k].why_not = unclear_marks;
    }
    from = to;
  }
}

const char* reason_without_axis(const RowInputs& inputs, const SeenFrame& seen,
                                const FineAxis& fine) {
  if (inputs.atlas == nullptr) return "no eye was found in the recording";
  if (!seen.pose.found) return "the eye is not clear enough";
  if (fine.phase == Phase::None) return "no lens marks are seen";
  if (!inputs.tie.axes_can_be_given) return "nothing ties the picture to the eye's meridians";
  return unclear_marks;
}

}  // namespace

double common_se(const RowInputs& inputs, const FineReport& report,
                 std::optional<double> axis_rad) {
  // A tilt t towards azimuth a turns what is seen at the meridian m by -t^2/4 sin 2(m - a); with an
  // estimate t and an error s the factor that is left is t s / 2 + s^2 / 4 (expansion of
  // atan(cos t)). Lens and reference are turned both; of their difference the root mean square over
  // all azimuths is |exp(2 i axis) - mean exp(2 i reference)| / sqrt 2.
  const double tilt = 0.5 * inputs.atlas_tilt_rad * inputs.atlas_tilt_se_rad +
                      0.25 * inputs.atlas_tilt_se_rad * inputs.atlas_tilt_se_rad;
  // A lens that is itself tilted by c about either axis has ends of unequal depth, which the eye's
  // tilt moves apart: t c / sqrt 2. Two degrees: common practice, no source.
  constexpr double lens_tilt_rad = 0.035;
  const double uneven = (inputs.atlas_tilt_rad + inputs.atlas_tilt_se_rad) * lens_tilt_rad;
  const double share =
      axis_rad ? std::abs(std::polar(1.0, 2.0 * *axis_rad) - inputs.tie.doubled_meridians) : 1.0;
  return std::sqrt(report.template_se_rad * report.template_se_rad +
                   inputs.tie.zero_se_rad * inputs.tie.zero_se_rad +
                   0.5 * (share * share * tilt * tilt + uneven * uneven));
}

std::vector<TimelineRow> make_rows(const RowInputs& inputs) {
  const auto& frames = inputs.pass.frames;
  std::vector<TimelineRow> rows(frames.size());
  const auto support = support_of(frames, inputs.fine);
  std::vector<double> time_s(frames.size());
  for (std::size_t k = 0; k < frames.size(); ++k) time_s[k] = frames[k].time_s;
  for (std::size_t k = 0; k < frames.size(); ++k) {
    TimelineRow& row = rows[k];
    const FineAxis& fine = inputs.fine.frames[k];
    row.frame = frames[k].index;
    row.time_s = frames[k].time_s;
    row.damaged = frames[k].damaged;
    put_eye(row, frames[k], inputs);
    row.lens = state_of(inputs, k);
    const bool lens_seen = row.lens == LensState::Previous || row.lens == LensState::New;
    row.moving = lens_seen && inputs.coarse.posterior.moving[k] > 0.5F;
    const FineReport& report =
        fine.phase == Phase::Previous ? inputs.fine.previous : inputs.fine.current;
    const double pose_se = frames[k].pose.found ? std::hypot(frames[k].pose.rotation_se_rad,
                                                             0.5 * frames[k].pose.shear_se)
                                                : 0.0;
    const double refraction = left_refraction_se(inputs.chamber, inputs.fine, time_s, k);
    const double unseen =
        support[k].bridged ? 0.0 : unseen_turn_rad_s * std::min(10.0, support[k].nearest_s);
    const double se =
        std::sqrt(fine.se_rad * fine.se_rad +
                  std::pow(common_se(inputs, report, fine.axis_rad + inputs.tie.zero_rad), 2.0) +
                  0.25 * pose_se * pose_se + refraction * refraction + unseen * unseen +
                  std::pow(share_of_turn * turn_about(frames, inputs.fine, k), 2.0));
    const double probability = belief(inputs.coarse, inputs.fine, time_s, k);
    if (row.eye_found && lens_seen && fine.given && inputs.tie.axes_can_be_given &&
        z95 * se < widest_half_rad && probability > least_probability) {
      put_axis(row, fine, inputs, se, probability);
    } else {
      row.why_not = reason_without_axis(inputs, frames[k], fine);
    }
  }
  if (inputs.tie.axes_can_be_given) doubt_unread_stays(rows);
  return rows;
}

}  // namespace rhumb::analyze
