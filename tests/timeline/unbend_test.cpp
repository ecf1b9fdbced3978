#include "timeline/unbend.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>
#include <vector>

using namespace rhumb::timeline;

namespace {

constexpr double deg = 0.017453292519943295;
constexpr double frame_s = 0.04;

BentReading resting(double seen_rad, double bend_sd_rad) {
  BentReading one;
  one.end[0] = {true, seen_rad, 0.02 * deg, 0.0};
  one.step.since_s = frame_s;
  one.rests = true;
  one.bend_sd_rad = bend_sd_rad;
  return one;
}

}  // namespace

TEST_CASE("Bends that know nothing of each other are weighed by their variances", "[timeline]") {
  // Inverse-variance weighting, the best linear estimate (Gauss and Markov; any textbook). The
  // frames follow each other so fast that nothing creeps, and turn so far that each bend is new.
  const std::vector<double> seen{0.300, 0.306, 0.297, 0.303};
  const std::vector<double> bend{0.006, 0.003, 0.001, 0.004};
  std::vector<BentReading> frames;
  double weights = 0.0;
  double sum = 0.0;
  for (std::size_t k = 0; k < seen.size(); ++k) {
    frames.push_back(resting(seen[k], bend[k]));
    frames.back().end[0].se_rad = 1e-3;
    frames.back().step.since_s = 1e-6;
    frames.back().turned_rad = 10.0;
    const double weight = 1.0 / (bend[k] * bend[k] + 1e-6);
    weights += weight;
    sum += weight * seen[k];
  }
  for (const double axis : unbend(frames, 0.03)) CHECK(axis == Approx(sum / weights).margin(2e-5));
}

TEST_CASE("What wanders while a lens rests and ends with the viscoelastic is no rotation",
          "[timeline]") {
  std::vector<BentReading> frames;
  for (int k = 0; k < 150; ++k) {
    const double washed = std::min(1.0, k / 100.0);
    const double sd = 0.3 * deg * (1.0 - washed);
    frames.push_back(resting(40.0 * deg + 1.3 * sd * std::cos(0.05 * k), sd));
  }
  const auto axis = unbend(frames, 0.03);
  for (const double a : axis) CHECK(a == Approx(40.0 * deg).margin(0.08 * deg));
  CHECK(frames[0].end[0].value_rad - 40.0 * deg > 0.35 * deg);
}

TEST_CASE("A move of a lens that was held to rest is not taken for a bend", "[timeline]") {
  std::vector<BentReading> frames;
  for (int k = 0; k < 150; ++k) {
    const double moved = std::clamp((k - 70) / 10.0, 0.0, 1.0);
    frames.push_back(resting((40.0 + 2.0 * moved) * deg, 0.2 * deg));
  }
  const auto axis = unbend(frames, 0.03);
  CHECK(axis[30] == Approx(40.0 * deg).margin(0.1 * deg));
  CHECK(axis[120] == Approx(42.0 * deg).margin(0.1 * deg));
  // In steps of 0.2 degrees a frame, as it was.
  CHECK(axis[75] == Approx(41.0 * deg).margin(0.25 * deg));
}

TEST_CASE("Drawn from its own model, the error is below that of the readings", "[timeline]") {
  std::mt19937 random(7);
  std::normal_distribution<double> normal;
  double before = 0.0;
  double after = 0.0;
  for (int run = 0; run < 20; ++run) {
    double bend = normal(random);
    std::vector<BentReading> frames;
    for (int k = 0; k < 200; ++k) {
      // Ornstein and Uhlenbeck: the exact step of the process.
      const double kept = std::exp(-frame_s / 2.0);
      bend = kept * bend + std::sqrt(1.0 - kept * kept) * normal(random);
      const double sd = (k < 100 ? 0.3 : 0.03) * deg;
      frames.push_back(resting(sd * bend + 0.02 * deg * normal(random), sd));
    }
    const auto axis = unbend(frames, 0.03);
    for (std::size_t k = 0; k < 100; ++k) {
      before += std::pow(frames[k].end[0].value_rad, 2.0);
      after += std::pow(axis[k], 2.0);
    }
  }
  CHECK(std::sqrt(before / 2000.0) == Approx(0.3 * deg).epsilon(0.2));
  CHECK(std::sqrt(after / 2000.0) < 0.08 * deg);
}

TEST_CASE("Without readings there is nothing to unbend", "[timeline]") {
  CHECK(unbend({}, 0.03).empty());
  std::vector<BentReading> frames(3);
  CHECK(unbend(frames, 0.03) == std::vector<double>(3, 0.0));
}
