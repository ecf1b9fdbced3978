// Where one end's marks say that the lens centre lies, on templates painted here.
#include "lens/end_line.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <opencv2/core.hpp>

using namespace rhumb::lens;

namespace {

const StripGeometry strip;
const RadialGrid grid;

// A straight stroke from `from` to `to` (limbal radii along the meridian) whose line passes the
// origin of the strip by `offset`, seen from the origin: perspective by atan, not by the formula
// under test.
MarkTemplate stroke(double offset, double from, double to, double noise, std::uint64_t seed) {
  constexpr double half_width = 0.012;  // limbal radii
  MarkTemplate mark;
  cv::RNG random(seed);
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    mark.value[channel] = cv::Mat1f::zeros(grid.count, strip.columns());
    random.fill(mark.value[channel], cv::RNG::NORMAL, 0.0, noise);
    mark.noise[channel] = 0.05F;
    for (int row = 0; row < grid.count; ++row) {
      for (int col = 0; col < strip.columns(); ++col) {
        const double along = grid.at(row) * std::cos(strip.angle_at(col));
        const double across = grid.at(row) * std::sin(strip.angle_at(col)) - offset;
        if (along < from || along > to) continue;
        mark.value[channel](row, col) +=
            static_cast<float>(0.3 * std::exp(-0.5 * std::pow(across / half_width, 2.0)));
      }
    }
  }
  return mark;
}

}  // namespace

TEST_CASE("a line that misses the supposed centre says by how much, on either side") {
  for (const double offset : {-0.04, -0.02, 0.0, 0.01, 0.04}) {
    CAPTURE(offset);
    const EndLine line = end_line_of(stroke(offset, 0.38, 0.52, 0.0, 1), grid, strip);
    REQUIRE(line.found);
    CHECK(line.offset == Approx(offset).margin(0.002));
  }
}

namespace {

// A stroke over these distances, 0.02 beside the centre, in sixty kinds of noise: what its line is
// stated to err by is no less than half of what it does, and no more than three times as much.
void check_stated_error(double from, double to) {
  double squares = 0.0;
  double stated = 0.0;
  constexpr int count = 60;
  for (int k = 0; k < count; ++k) {
    const EndLine line =
        end_line_of(stroke(0.02, from, to, 0.03, static_cast<std::uint64_t>(k + 1)), grid, strip);
    REQUIRE(line.found);
    squares += std::pow(line.offset - 0.02, 2.0);
    stated += line.offset_se * line.offset_se;
  }
  INFO(std::sqrt(squares / count) << " off, " << std::sqrt(stated / count) << " stated");
  CHECK(stated / squares > 0.5 * 0.5);
  CHECK(stated / squares < 3.0 * 3.0);
}

}  // namespace

TEST_CASE("the standard error of a line covers what noise does to it") {
  check_stated_error(0.38, 0.52);
}

TEST_CASE("a single dot has no direction; what is little longer says how little it knows") {
  CHECK_FALSE(end_line_of(stroke(0.02, 0.44, 0.48, 0.01, 1), grid, strip).found);
  check_stated_error(0.42, 0.49);
}
