// What is learned as a lens's marks, on contrast painted here.
#include "analyze/learn.h"

#include <catch2/catch.hpp>

using namespace rhumb;
using namespace rhumb::analyze;

namespace {

constexpr int axis_deg = 30;

struct Spot {
  double first;  // distances from the lens centre, limbal radii
  double last;
  float greyer;          // contrast in saturation
  float darker = 0.0F;   // in luma
  double width = 0.035;  // across the meridian, limbal radii
};

// A window with these spots on both ends of the axis, about the atlas's middle.
Window window_with(const std::vector<Spot>& spots, std::uint64_t seed,
                   const lens::PatchGeometry& geometry) {
  const cv::Size size(geometry.size_px, geometry.size_px);
  Window window;
  window.usable = window.searched = true;
  for (auto& value : window.contrast.value) value = cv::Mat1f(size, 0.0F);
  window.contrast.usable = cv::Mat1b(size, uchar{255});
  cv::RNG noise(seed);
  for (auto& value : window.contrast.value) noise.fill(value, cv::RNG::NORMAL, 0.0, 0.01);
  const double phi = axis_deg * CV_PI / 180.0;
  for (int row = 0; row < size.height; ++row) {
    for (int col = 0; col < size.width; ++col) {
      const double x = (col - geometry.centre_px()) / geometry.pixels_per_radius;
      const double y = -(row - geometry.centre_px()) / geometry.pixels_per_radius;
      const double along = std::abs(x * std::cos(phi) + y * std::sin(phi));
      const double across = std::abs(y * std::cos(phi) - x * std::sin(phi));
      for (const Spot& spot : spots)
        if (along >= spot.first && along <= spot.last && across <= 0.5 * spot.width) {
          window.contrast.value[lens::luma_channel](row, col) += spot.darker;
          window.contrast.value[lens::saturation_channel](row, col) += spot.greyer;
        }
    }
  }
  return window;
}

std::optional<MarkSignature> learned_from(const std::vector<Spot>& spots) {
  const lens::PatchGeometry geometry;
  constexpr std::size_t count = 8;
  std::vector<Window> windows;
  for (std::size_t k = 0; k < count; ++k) windows.push_back(window_with(spots, 100 + k, geometry));
  timeline::AxisPath path;
  path.phase.assign(count, timeline::Phase::New);
  path.axis_deg.assign(count, axis_deg);
  lens::AxisScores scores;
  scores.end_a.fill(9.0F);
  scores.end_b.fill(9.0F);
  scores.centre.fill(Eigen::Vector2f::Zero());
  lens::StatedMarks stated;
  stated.dots_per_end = 2;
  stated.optic_radius = 0.58;
  return learn_marks(
      windows, path, timeline::Phase::New,
      [&](std::size_t) -> const lens::AxisScores& { return scores; }, false, stated, geometry);
}

double weight_beyond(const MarkSignature& signature, double distance) {
  double sum = 0.0;
  for (int k = 0; k < radial_grid.count; ++k)
    for (const auto& weights : signature.profile.weight)
      if (radial_grid.at(k) > distance) sum += std::abs(weights[static_cast<std::size_t>(k)]);
  return sum;
}

const Spot inner_dot{0.45, 0.49, 0.2F};
const Spot outer_dot{0.53, 0.57, 0.2F};

}  // namespace

TEST_CASE("dots on the optic are learned where they lie", "[analyze]") {
  const auto marks = learned_from({inner_dot, outer_dot});
  REQUIRE(marks);
  CHECK(marks->windows == 8);
  CHECK(marks->likeness > 0.9);
  const auto& weight = marks->profile.weight[lens::saturation_channel];
  for (int k = 0; k < radial_grid.count; ++k) {
    const double at = radial_grid.at(k);
    CAPTURE(at);
    if (at > 0.455 && at < 0.485) CHECK(weight[static_cast<std::size_t>(k)] > 2.0F);
    if (at < 0.42 || at > 0.61) CHECK(weight[static_cast<std::size_t>(k)] < 0.5F);
  }
}

TEST_CASE("a colourful rim of the glow beyond the optic does not pass for a haptic", "[analyze]") {
  const auto marks = learned_from({inner_dot, outer_dot, {0.64, 0.69, -0.3F, -0.2F}});
  REQUIRE(marks);
  CHECK(weight_beyond(*marks, 0.62) == 0.0);  // nor for a part of the marks
}

TEST_CASE("a haptic that leaves the optic is no mark", "[analyze]") {
  CHECK_FALSE(learned_from({{0.59, 0.69, 0.2F}}));
  CHECK_FALSE(learned_from({inner_dot, {0.60, 0.69, 0.25F}}));
}

TEST_CASE("marks at the optic's edge, seen from a centre beside the lens's, are marks",
          "[analyze]") {
  CHECK(learned_from({{0.57, 0.61, 0.2F}}));
}

TEST_CASE("what runs along the whole meridian is no mark", "[analyze]") {
  CHECK_FALSE(learned_from({{0.25, 0.57, 0.2F}}));
}
