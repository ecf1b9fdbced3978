// Rotation between two views in which much stands still: rings made here, turned by known columns.
#include <catch2/catch.hpp>
#include <opencv2/imgproc.hpp>

#include "eye/correlate.h"
#include "eye/detail_share.h"

using namespace rhumb;

namespace {

constexpr int meridians = 384, rows = 32;

eye::RingShape shape() { return eye::make_ring_shape(meridians, rows, 0.72, 1.6, 2.0); }

// What turns with the eye: faint fine texture all round. `turn` in columns.
cv::Mat vessels(int turn) {
  cv::Mat texture(rows, 3 * meridians, CV_32FC1);
  cv::RNG(21).fill(texture.colRange(0, meridians), cv::RNG::NORMAL, 0.0, 1.0);
  cv::repeat(texture.colRange(0, meridians).clone(), 1, 3, texture);
  cv::GaussianBlur(texture, texture, {}, 1.2);
  return texture.colRange(meridians - turn, 2 * meridians - turn) * 0.8;
}

// What stands still: an oval limbus and a lid with bright wires over a third of the outer rows.
void add_still(cv::Mat& ring) {
  for (int k = 0; k < rows; ++k)
    for (int i = 0; i < meridians; ++i) {
      const double edge = 12.0 + 3.0 * std::cos(4.0 * CV_PI * i / meridians);
      ring.at<float>(k, i) += static_cast<float>(std::tanh((k - edge) / 2.0));
    }
  cv::RNG rng(5);
  for (int line = 0; line < 12; ++line) {
    const cv::Point from(rng.uniform(120, 250), rng.uniform(14, 32));
    cv::line(ring, from, from + cv::Point(rng.uniform(-4, 4), 14), line % 2 ? 3.0 : -3.0, 3);
  }
}

std::vector<float> ring(int turn) {
  cv::Mat made = vessels(turn);
  add_still(made);
  return {made.ptr<float>(), made.ptr<float>() + made.total()};
}

std::vector<float> turned(const std::vector<float>& in, int columns) {
  cv::Mat out(rows, meridians, CV_32FC1);
  for (int k = 0; k < rows; ++k)
    for (int i = 0; i < meridians; ++i)
      out.at<float>(k, (i + columns + meridians) % meridians) =
          in[static_cast<std::size_t>(k) * meridians + i];
  return {out.ptr<float>(), out.ptr<float>() + out.total()};
}

}  // namespace

TEST_CASE("the first rotation offered is the eye's, not that of what stands still") {
  const eye::RingSpectrum before(shape(), ring(0));
  for (const int turn : {-14, -6, 9, 20}) {
    std::vector<float> curve;
    before.correlate(eye::RingSpectrum(shape(), ring(turn)), curve);
    const auto peaks = eye::rotation_peaks(curve, 3);
    REQUIRE(!peaks.empty());
    CHECK(peaks[0].rotation_rad * meridians / (2.0 * CV_PI) == Approx(turn).margin(0.3));
  }
}

TEST_CASE("the share of agreeing detail tells the right rotation from that of what stands still") {
  eye::TemplateLevel level;
  level.shape = shape();
  level.value = ring(0);
  level.inv_var.assign(level.value.size(), 400.0F);
  const std::vector<float> seen(level.value.size(), 1.0F);
  CHECK(eye::detail_share(level, ring(0), seen) > 0.95);
  // The eye has turned by 9 columns; read at the right rotation, and as if it had not turned.
  const double right = eye::detail_share(level, turned(ring(9), -9), seen);
  const double still = eye::detail_share(level, ring(9), seen);
  INFO(right << " against " << still);
  CHECK(right > 0.6);
  CHECK(still < 0.5 * right);
  // Nothing seen, nothing shared.
  CHECK(eye::detail_share(level, ring(0), std::vector<float>(level.value.size(), 0.0F)) == 0.0);
}
