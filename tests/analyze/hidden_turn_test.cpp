// A lens that is pushed and then turned while an instrument hides one of its ends. Invented
// readings: the expected values are what they were made from.
#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "analyze/axis_history.h"
#include "angle/angle.h"

using namespace rhumb;
using namespace rhumb::analyze;
using angle::rad_from_deg;

namespace {

constexpr int frames = 80;
constexpr int hidden_from = 18, hidden_to = 40;
constexpr double lever = 0.45;  // limbal radii

double ramp(int k, int from, int to) {
  return std::clamp((k - from) / static_cast<double>(to - from), 0.0, 1.0);
}

struct Recording {
  Track track;
  Measured measured;
  std::vector<double> path_rad;
  std::vector<double> time_s;
  std::vector<double> axis_rad;  // the truth

  // turn: by so much between frames 32 and 38; the path has it at frame 20 already.
  explicit Recording(double turn_rad) {
    measured.levers = {lever, lever};
    for (int k = 0; k < frames; ++k) {
      const double axis = 0.3 + turn_rad * ramp(k, 32, 38);
      const double offset = 0.012 * ramp(k, 20, 27) - 0.012 * ramp(k, 40, 48);
      const bool hidden = k >= hidden_from && k < hidden_to;
      lens::TurnEstimate a;
      a.gain = 1.0;
      a.gain_se = 0.02;
      a.se_rad = rad_from_deg(0.1);
      lens::TurnEstimate b = a;
      a.turn_rad = axis - 0.3 + offset / lever;
      b.turn_rad = axis - 0.3 - offset / lever;
      if (hidden) b = {};
      // As one frame by itself has it: the centre in its place.
      Solved solved{true, hidden ? a.turn_rad : axis - 0.3, rad_from_deg(hidden ? 1.0 : 0.07), 0.0,
                    0.0};
      track.frame.push_back(static_cast<std::size_t>(k));
      track.axis_rad.push_back(0.3);
      track.centre.emplace_back(0.0, 0.0);
      track.resting.push_back(turn_rad == 0.0 || k != 20);
      track.trust.push_back(1.0);
      track.followed.push_back(false);
      track.again.push_back(false);
      track.averaged.emplace_back();
      measured.ends.push_back({a, b});
      measured.solved.push_back(solved);
      path_rad.push_back(0.3 + (k < 20 ? 0.0 : turn_rad));
      time_s.push_back(k / 30.0);
      axis_rad.push_back(axis);
    }
  }

  AxisHistory read() const { return axis_history(track, measured, path_rad, time_s, 0.03); }
};

double half_width(const timeline::SmoothedEnds& one) {
  return 1.96 * std::hypot(one.noise_se_rad, one.centre_se_rad);
}

}  // namespace

TEST_CASE("a turn under a hidden end is not dated by the path, and the interval says so") {
  const Recording made(rad_from_deg(-2.0));
  const AxisHistory read = made.read();
  int held = 0;
  for (std::size_t k = 0; k < frames; ++k) {
    const double off = std::abs(read.smoothed[k].value_rad - made.axis_rad[k]);
    held += off <= half_width(read.smoothed[k]) + rad_from_deg(0.02) ? 1 : 0;
    CHECK(off < rad_from_deg(1.5));
    if (k >= hidden_from && k <= hidden_to) CHECK_FALSE(read.resting[k]);
  }
  CHECK(held >= 0.95 * frames);
  CHECK(half_width(read.smoothed[10]) < rad_from_deg(0.2));
  CHECK(half_width(read.smoothed[29]) > rad_from_deg(1.0));
}

TEST_CASE("a lens that keeps its axis under a hidden end rests, however it is pushed") {
  const Recording made(0.0);
  const AxisHistory read = made.read();
  for (std::size_t k = 1; k < frames; ++k) {
    CHECK(read.resting[k]);
    CHECK(read.smoothed[k].value_rad == Approx(0.3).margin(rad_from_deg(0.3)));
  }
}

TEST_CASE("a centre that no frame shows is no better known for being looked at for long") {
  Recording made(0.0);
  for (EndPair& pair : made.measured.ends) pair.b = {};
  const AxisHistory read = made.read();
  for (const auto& one : read.smoothed)
    CHECK(one.centre_se_rad == Approx(0.03 / lever).epsilon(0.01));
}

TEST_CASE("an end that shows by fits and starts under an instrument is not read") {
  Recording made(rad_from_deg(-2.0));
  const AxisHistory without = made.read();
  for (const std::size_t k : {26U, 27U, 33U}) {
    lens::TurnEstimate& b = made.measured.ends[k].b;
    b = made.measured.ends[k].a;
    b.turn_rad -= rad_from_deg(3.5);
  }
  const AxisHistory with = made.read();
  for (std::size_t k = 0; k < frames; ++k)
    CHECK(with.smoothed[k].value_rad == Approx(without.smoothed[k].value_rad).margin(1e-9));
  CHECK_FALSE(with.ends[26][1].given);
}
