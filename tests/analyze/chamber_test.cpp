// How long something bends the line of sight, from strips of an iris that is drawn.
#include "analyze/chamber.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>

namespace {

using rhumb::analyze::IrisLog;
using rhumb::analyze::read_chamber;

const rhumb::eye::IrisStripGeometry geometry;

// A strip whose texture lies `amplitude` limbal radii along the circle, in three waves.
cv::Mat1b strip(double amplitude) {
  cv::Mat1b out(geometry.rows, geometry.columns);
  for (int row = 0; row < out.rows; ++row) {
    const double distance = geometry.inner + geometry.row_step() * row;
    for (int col = 0; col < out.cols; ++col) {
      const double seen = 2.0 * std::numbers::pi * col / geometry.columns;
      const double meridian = seen - amplitude * std::sin(3.0 * seen) / distance;
      const double value = 120.0 + 40.0 * std::sin(61.0 * meridian + 30.0 * distance) +
                           25.0 * std::sin(17.0 * meridian - 45.0 * distance);
      out(row, col) = cv::saturate_cast<std::uint8_t>(value);
    }
  }
  return out;
}

std::vector<IrisLog::Entry> log_of(const std::vector<double>& amplitudes) {
  std::vector<IrisLog::Entry> log;
  for (std::size_t k = 0; k < amplitudes.size(); ++k) {
    const double start_s = 0.4 * static_cast<double>(k);
    log.push_back({start_s, start_s + 0.3, strip(amplitudes[k])});
  }
  return log;
}

}  // namespace

TEST_CASE("the bending is told by time, against the settled end") {
  const auto log = log_of({0.004, 0.004, 0.003, 0.003, 0.0, 0.0, 0.0, 0.0});
  const auto reading = read_chamber(log, 1.6, 2);
  REQUIRE(reading.known());
  CHECK(reading.at(0.2).value() == Approx(0.0042).epsilon(0.2));
  CHECK(reading.at(1.2).value() == Approx(0.0032).epsilon(0.2));
  CHECK(reading.at(2.6).value() < 2e-4);
  // Between two readings the larger one.
  CHECK(reading.at(1.5).value() == Approx(0.0032).epsilon(0.2));
}

TEST_CASE("where the iris was covered nothing is said") {
  auto log = log_of({0.004, 0.004, 0.003, 0.003, 0.0, 0.0, 0.0, 0.0});
  for (std::size_t k = 2; k < log.size(); ++k) {
    log[k].start_s += 4.0;
    log[k].end_s += 4.0;
  }
  const auto reading = read_chamber(log, 5.6, 1);
  CHECK(reading.at(1.2));
  CHECK_FALSE(reading.at(2.9));
  CHECK(reading.at(4.6));
  CHECK_FALSE(rhumb::analyze::ChamberReading{}.at(1.0));
}

TEST_CASE("the log of a long recording stays small and even") {
  IrisLog log;
  rhumb::eye::EyePose pose;
  pose.found = true;
  pose.picture_from_atlas = 20.0 * Eigen::Matrix2d::Identity();
  pose.offset_px = Eigen::Vector2d::Constant(24.0);
  rhumb::video::Frame frame;
  frame.luma = cv::Mat1b(48, 48, std::uint8_t{90});
  constexpr double minutes = 40.0;
  for (; frame.time_s < 60.0 * minutes; frame.time_s += 0.2) log.add(frame, pose);
  log.finish();
  const auto& entries = log.entries();
  REQUIRE(entries.size() > 1000);
  CHECK(entries.size() < 2048);
  CHECK(entries.front().start_s < 0.1);
  CHECK(entries.back().end_s > 60.0 * minutes - 2.5);
  for (std::size_t k = 1; k < entries.size(); ++k)
    CHECK(entries[k].start_s - entries[k - 1].start_s < 2.5);
}

TEST_CASE("an iris that never moves tells nothing, nor does a recording without a settled end") {
  CHECK_FALSE(read_chamber(log_of({0.0, 0.0, 0.0001, 0.0, 0.0, 0.0}), 1.2, 1).known());
  CHECK_FALSE(read_chamber(log_of({0.004, 0.004, 0.004, 0.0}), 1.2, 1).known());
  CHECK_FALSE(read_chamber({}, 0.0, 1).known());
}
