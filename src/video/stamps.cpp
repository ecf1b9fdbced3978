#include "video/stamps.h"

#include <algorithm>

namespace rhumb::video {
namespace {

constexpr double fallback_rate_hz = 25.0;
// A stamp this far back is no reordering but a clock that was set anew.
constexpr double restart_s = 1.0;
// A stamp this far ahead whose successor returns is a single wrong stamp.
constexpr double stray_s = 2.0;
constexpr double gap_intervals = 5.0;  // and at least a quarter of a second
constexpr double least_gap_s = 0.25;
constexpr std::size_t most_gaps = 1000;

}  // namespace

StampClock::StampClock(double rate_hz)
    : promised_interval_s_(1.0 / (rate_hz > 0.0 ? rate_hz : fallback_rate_hz)) {}

void StampClock::start_part() {
  part_starts_ = true;
  last_was_sound_ = false;
}

void StampClock::skip_to(double time_s) {
  last_s_ = time_s - usual_interval_s();
  last_was_sound_ = false;
}

double StampClock::usual_interval_s() const {
  const std::size_t count = std::min(intervals_, intervals_s_.size());
  if (count < 3) {
    return promised_interval_s_;
  }
  auto sorted = intervals_s_;
  std::nth_element(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(count / 2),
                   sorted.begin() + static_cast<std::ptrdiff_t>(count));
  return sorted[count / 2];
}

// A time after the last one and, when the next is sound, half way to it at most. Where that is no
// number of its own any more the next one gives way.
double StampClock::between(std::optional<double> next_s) const {
  const double usual = *last_s_ + usual_interval_s();
  if (!next_s) return usual;
  const double half_way = 0.5 * (*last_s_ + *next_s);
  return half_way > *last_s_ && half_way < *next_s ? std::min(usual, half_way) : usual;
}

void StampClock::remember(double time_s, bool is_sound) {
  if (last_s_) {
    const double interval = time_s - *last_s_;
    if (interval > std::max(gap_intervals * usual_interval_s(), least_gap_s) &&
        gaps_.size() < most_gaps) {
      gaps_.push_back({*last_s_, time_s});
    }
    if (is_sound && last_was_sound_) {
      intervals_s_[intervals_ % intervals_s_.size()] = interval;
      ++intervals_;
    }
  }
  last_s_ = time_s;
  last_was_sound_ = is_sound;
}

double StampClock::place(std::optional<double> stamp_s, std::optional<double> next_stamp_s) {
  if (part_starts_ && stamp_s) {
    const double start_s = last_s_ ? *last_s_ + usual_interval_s() : 0.0;
    offset_s_ = start_s - *stamp_s;
    part_starts_ = false;
    remember(start_s, true);
    return start_s;
  }
  if (!last_s_) {  // the very first picture has no stamp
    ++missing_;
    remember(0.0, false);
    return 0.0;
  }
  const auto shifted = [&](std::optional<double> raw) {
    return raw && !part_starts_ ? std::optional<double>(*raw + offset_s_) : std::nullopt;
  };
  std::optional<double> now = shifted(stamp_s);
  std::optional<double> next = shifted(next_stamp_s);
  const bool next_goes_on = stamp_s && next_stamp_s && *next_stamp_s > *stamp_s;
  if (now && *now < *last_s_ - restart_s && next_goes_on && *next <= *last_s_) {
    ++restarts_;
    offset_s_ += *last_s_ + usual_interval_s() - *now;
    now = shifted(stamp_s);
    remember(*now, false);
    last_was_sound_ = true;
    return *now;
  }
  const bool stray = now && next && *now > *last_s_ + stray_s && *next > *last_s_ && *next < *now;
  if (now && *now > *last_s_ && !stray) {
    remember(*now, true);
    return *now;
  }
  ++(now ? repaired_ : missing_);
  const double repaired = between(next);
  remember(repaired, false);
  return repaired;
}

}  // namespace rhumb::video
