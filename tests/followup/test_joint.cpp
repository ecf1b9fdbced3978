// The joint solution against rotations that were put in, with a pair that lies.
#include <catch2/catch.hpp>
#include <cmath>

#include "angle/angle.h"
#include "followup/joint.h"

using namespace rhumb;

namespace {

followup::Pair pair_of(int a, int b, double turn_rad, double se) {
  followup::Pair pair;
  pair.first = a;
  pair.second = b;
  pair.match.accepted = true;
  pair.match.rotation_rad = turn_rad;
  pair.match.rotation_se_rad = se;
  pair.match.shear_se = 0.002;
  pair.match.linear << std::cos(turn_rad), -std::sin(turn_rad), std::sin(turn_rad),
      std::cos(turn_rad);
  pair.match.evidence = 50;
  return pair;
}

}  // namespace

TEST_CASE("all pairs make one consistent solution and the one that lies is named") {
  const double turn[] = {0.0, 0.12, -0.05, 0.2};
  std::vector<followup::Pair> pairs;
  for (int a = 0; a < 4; ++a)
    for (int b = a + 1; b < 4; ++b) pairs.push_back(pair_of(a, b, turn[b] - turn[a], 0.001));
  pairs[1].match.rotation_rad += 0.02;  // first against third: 20 standard errors off
  const auto joint = followup::solve_jointly(4, pairs);
  for (int v = 0; v < 4; ++v) {
    CHECK(joint.connected[static_cast<std::size_t>(v)]);
    CHECK(joint.rotation_rad[static_cast<std::size_t>(v)] == Approx(turn[v]).margin(2e-4));
  }
  for (std::size_t k = 0; k < pairs.size(); ++k) CHECK(pairs[k].outlier == (k == 1));
}

TEST_CASE("a photograph that fits none stays outside") {
  std::vector<followup::Pair> pairs = {pair_of(0, 1, 0.1, 0.001), pair_of(0, 2, 0.1, 0.001),
                                       pair_of(1, 2, 0.0, 0.001)};
  pairs[1].match.accepted = pairs[2].match.accepted = false;
  const auto joint = followup::solve_jointly(3, pairs);
  CHECK(joint.base == 0);
  CHECK(joint.connected[1]);
  CHECK_FALSE(joint.connected[2]);
}

TEST_CASE("the error of a rotation falls as pairs are added, by least squares' own formula") {
  // Two photographs, one pair: the standard error is the pair's. With a third photograph and equal
  // pairs the variance of a difference becomes 2/3 of it (series and parallel of equal resistors,
  // the same algebra).
  std::vector<followup::Pair> one = {pair_of(0, 1, 0.1, 0.003)};
  followup::JointOptions exact;
  exact.floor_rad = 0;
  const double alone = followup::solve_jointly(2, one, exact).covariance(3, 3);
  std::vector<followup::Pair> three = {pair_of(0, 1, 0.1, 0.003), pair_of(0, 2, 0.2, 0.003),
                                       pair_of(1, 2, 0.1, 0.003)};
  const double together = followup::solve_jointly(3, three, exact).covariance(3, 3);
  CHECK(alone == Approx(0.003 * 0.003).epsilon(1e-3));
  CHECK(together == Approx(alone * 2 / 3).epsilon(1e-3));
}

TEST_CASE("a direction goes through tilt by the closed form") {
  // A photograph seen at 10 degrees of tilt about its vertical shows 45 degrees at atan(1 / cos
  // 10).
  followup::JointSolution joint;
  const double squeeze = 0.5 * std::log(std::cos(angle::rad_from_deg(10)));
  joint.rotation_rad = {0.0};
  joint.shear = {{squeeze, 0.0}};
  const double shown = std::atan2(1.0, std::cos(angle::rad_from_deg(10)));
  CHECK(joint.eye_direction(0, shown) == Approx(angle::rad_from_deg(45)).margin(2e-4));
}
