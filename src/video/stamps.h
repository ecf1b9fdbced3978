// From the stamps that a file carries to times that always grow. Inside this room only.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "video/facts.h"

namespace rhumb::video {

// Sound stamps pass unchanged, counted from the first. A missing, repeated or backward stamp is put
// between its neighbours, or one usual interval after the one before; a clock that starts anew goes
// on where it was.
class StampClock {
 public:
  // `rate_hz` is what the file promises, 0 when it doesn't; it only serves until intervals have
  // been seen.
  explicit StampClock(double rate_hz);

  // A new file: its first stamp lies one usual interval after the last one.
  void start_part();

  // Pictures up to shortly before this time were left out on purpose.
  void skip_to(double time_s);

  // Time of a picture from its own stamp and the next picture's (both in the file's clock, in
  // seconds).
  double place(std::optional<double> stamp_s, std::optional<double> next_stamp_s);

  double usual_interval_s() const;  // median of the latest intervals
  // Time that a stamp of the present part has, where nothing needs repair.
  double time_of_stamp(double stamp_s) const { return stamp_s + offset_s_; }
  double stamp_of_time(double time_s) const { return time_s - offset_s_; }

  std::int64_t missing() const { return missing_; }
  std::int64_t repaired() const { return repaired_; }
  std::int64_t restarts() const { return restarts_; }
  const std::vector<Gap>& gaps() const { return gaps_; }

 private:
  double between(std::optional<double> next_s) const;
  void remember(double time_s, bool is_sound);

  std::array<double, 15> intervals_s_{};
  std::size_t intervals_ = 0;
  double promised_interval_s_;
  double offset_s_ = 0.0;
  std::optional<double> last_s_;
  bool part_starts_ = true;
  bool last_was_sound_ = false;
  std::int64_t missing_ = 0;
  std::int64_t repaired_ = 0;
  std::int64_t restarts_ = 0;
  std::vector<Gap> gaps_;
};

}  // namespace rhumb::video
