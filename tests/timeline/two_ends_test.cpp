#include "timeline/two_ends.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

using namespace rhumb::timeline;

namespace {

constexpr double per_offset = 2.0;
constexpr double se = 0.01;

EndReading reads(double value_rad, double per) { return {true, value_rad, se, per}; }

TwoEnds both(double axis_rad, double offset) {
  return {reads(axis_rad + per_offset * offset, per_offset),
          reads(axis_rad - per_offset * offset, -per_offset)};
}

TwoEnds one(double axis_rad, double offset) {
  return {reads(axis_rad + per_offset * offset, per_offset), EndReading{}};
}

std::vector<SmoothedEnds> smoothed(const std::vector<TwoEnds>& ends, const Step& step,
                                   double centre_sd) {
  return smooth_ends(ends, std::vector<Step>(ends.size(), step), centre_sd);
}

}  // namespace

TEST_CASE("two ends about a known centre are two readings of one axis") {
  // Closed form: n readings of a constant, error se over root n (any textbook of statistics).
  const std::vector<TwoEnds> ends(8, both(0.3, 0.0));
  const auto axis = smoothed(ends, {0.04, 0.0, 1e-9}, 1e-6);
  for (const SmoothedEnds& value : axis) {
    CHECK(value.value_rad == Approx(0.3).margin(1e-9));
    CHECK(value.noise_se_rad == Approx(se / 4.0).epsilon(1e-3));
    CHECK(value.centre_se_rad < 0.1 * se);
  }
}

TEST_CASE("a centre that two ends showed tells what one end alone reads") {
  // The difference of two ends is twice per_offset times the offset, so its variance is that of an
  // end over 2 per_offset^2 (propagation of errors); carried to the end alone it adds half of the
  // end's variance. The axis is free from frame to frame, the centre does not move.
  const std::vector<TwoEnds> ends{both(0.3, 0.02), one(0.8, 0.02)};
  const auto axis = smoothed(ends, {1.0, 10.0, 1e-6}, 1.0);
  CHECK(axis[1].value_rad == Approx(0.8).margin(1e-4));
  CHECK(axis[1].noise_se_rad == Approx(se).epsilon(1e-3));
  CHECK(axis[1].centre_se_rad == Approx(se / std::sqrt(2.0)).epsilon(1e-3));
}

TEST_CASE("what one end reads grows vague as the centre drifts, and no vaguer than it wanders") {
  std::vector<TwoEnds> ends(400, one(0.3, 0.0));
  ends.front() = both(0.3, 0.0);
  const auto axis = smoothed(ends, {0.25, 10.0, 0.012}, 0.03);
  // A random walk at first, drift times root time (closed form), from what both ends left of it.
  const double walked = per_offset * 0.012 * std::sqrt(0.5);
  CHECK(axis[2].centre_se_rad == Approx(std::hypot(walked, se / std::sqrt(2.0))).epsilon(0.05));
  CHECK(axis.back().centre_se_rad == Approx(per_offset * 0.03).epsilon(0.01));
  CHECK(centre_kept({}, 0.03) == 1.0);
}

TEST_CASE("a centre pushed aside under a hidden end is no turn of a resting lens") {
  std::vector<TwoEnds> ends;
  for (int k = 0; k < 40; ++k) {
    const double pushed = k < 15 ? 0.0 : 0.012;
    ends.push_back(k < 15 || k > 25 ? both(0.3, pushed) : one(0.3, pushed));
  }
  const auto axis = smoothed(ends, {0.04, 4e-4, 0.012}, 0.03);
  for (const SmoothedEnds& value : axis) CHECK(value.value_rad == Approx(0.3).margin(0.004));
}

TEST_CASE("one wild end does not pull the axis along, and no reading says nothing") {
  std::vector<TwoEnds> ends(21, both(0.2, 0.0));
  ends[10][0].value_rad = 0.9;
  CHECK(smoothed(ends, {0.04, 1e-4, 0.012}, 0.03)[10].value_rad == Approx(0.2).margin(0.01));
  CHECK(smoothed({}, {}, 0.03).empty());
  for (const SmoothedEnds& value : smoothed(std::vector<TwoEnds>(3), {0.04, 0.1, 0.012}, 0.03))
    CHECK(value.noise_se_rad >= 1e3);
}
