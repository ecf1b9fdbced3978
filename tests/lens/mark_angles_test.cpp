// Where the marks of two ends lie, on templates made here: bells in angle at the mark's distances.
#include <catch2/catch.hpp>
#include <cmath>
#include <opencv2/core.hpp>

#include "angle/angle.h"
#include "lens/mark_pattern.h"
#include "lens/mark_template.h"

using namespace rhumb;
using namespace rhumb::lens;

namespace {

const StripGeometry strip;
const RadialGrid grid;

struct Spot {
  int row;
  double at_deg;
  double height;
};

MarkTemplate end_of(std::initializer_list<Spot> spots, double noise, std::uint64_t seed) {
  constexpr double width_deg = 1.0;
  MarkTemplate mark;
  cv::RNG random(seed);
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    mark.value[channel] = cv::Mat1f::zeros(grid.count, strip.columns());
    random.fill(mark.value[channel], cv::RNG::NORMAL, 0.0, noise);
    mark.noise[channel] = 0.05F;
    for (const Spot& spot : spots)
      for (int col = 0; col < strip.columns(); ++col) {
        const double apart = (angle::deg_from_rad(strip.angle_at(col)) - spot.at_deg) / width_deg;
        for (int row = spot.row - 1; row <= spot.row + 1; ++row)
          mark.value[channel](row, col) +=
              static_cast<float>(spot.height * std::exp(-0.5 * apart * apart));
      }
  }
  return mark;
}

// A template of its own: a copy of cv::Mat shares the points.
MarkTemplate times(const MarkTemplate& mark, double luma, double colour) {
  MarkTemplate out = mark;
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    cv::Mat1f scaled;
    mark.value[channel].convertTo(scaled, CV_32F, channel == luma_channel ? luma : colour);
    out.value[channel] = scaled;
  }
  return out;
}

MarkTemplate end_at(double at_deg, double noise, std::uint64_t seed) {
  return end_of({{10, at_deg, 0.3}, {17, at_deg, 0.3}}, noise, seed);
}

}  // namespace

TEST_CASE("both ends' marks are placed to a hundredth of a degree, between columns too") {
  for (const double a : {0.0, 0.05, 0.11, 0.4, -0.9})
    for (const double b : {0.0, -0.21, 0.6}) {
      CAPTURE(a, b);
      const MarkTemplate one = end_at(a, 0.0, 1);
      const MarkAngles found = mark_angles(one, end_at(b, 0.0, 2), strip);
      CHECK(angle::deg_from_rad(found.a_rad) == Approx(a).margin(0.01));
      CHECK(angle::deg_from_rad(found.b_rad) == Approx(b).margin(0.01));
      CHECK(angle::deg_from_rad(found.mean_se_rad) < 0.01);
      CHECK(angle::deg_from_rad(symmetric_angle(one, strip)) == Approx(a).margin(0.01));
    }
}

TEST_CASE("noise does not draw the marks to whole columns, and the standard error covers it") {
  double squares = 0.0;
  double stated = 0.0;
  constexpr int count = 60;
  for (int k = 0; k < count; ++k) {
    const double at = 0.1;  // a third of a column
    const auto seed = static_cast<std::uint64_t>(2 * k + 1);
    const MarkAngles found = mark_angles(end_at(at, 0.03, seed), end_at(at, 0.03, seed + 1), strip);
    const double off = angle::deg_from_rad(0.5 * (found.a_rad + found.b_rad)) - at;
    squares += off * off;
    stated += std::pow(angle::deg_from_rad(found.mean_se_rad), 2.0);
  }
  INFO(std::sqrt(squares / count) << " degrees off, " << std::sqrt(stated / count) << " stated");
  CHECK(squares / count < 0.05 * 0.05);
  CHECK(stated / squares > 0.5 * 0.5);
  CHECK(stated / squares < 3.0 * 3.0);
}

TEST_CASE("clutter at one end does not pull the axis as it pulls that end's own symmetry") {
  // A bright edge beside the marks of end A, at another distance, as strong as the marks.
  const MarkTemplate a = end_of({{10, 0.0, 0.3}, {17, 0.0, 0.3}, {13, 0.9, 0.35}}, 0.005, 1);
  const MarkTemplate b = end_at(0.0, 0.005, 2);
  CHECK(std::abs(angle::deg_from_rad(symmetric_angle(a, strip))) > 0.2);
  const MarkAngles found = mark_angles(a, b, strip);
  CHECK(angle::deg_from_rad(found.a_rad) == Approx(0.0).margin(0.05));
  CHECK(angle::deg_from_rad(found.b_rad) == Approx(0.0).margin(0.05));
}

TEST_CASE("a decentred lens shows one end nearer: the marks are still taken together") {
  const MarkTemplate a = end_of({{10, 0.3, 0.3}, {17, 0.3, 0.3}}, 0.005, 1);
  const MarkTemplate b = end_of({{13, -0.1, 0.3}, {20, -0.1, 0.3}}, 0.005, 2);
  CHECK(likeness(a, b) > 0.9);
  const MarkAngles found = mark_angles(a, b, strip);
  CHECK(angle::deg_from_rad(found.a_rad) == Approx(0.3).margin(0.03));
  CHECK(angle::deg_from_rad(found.b_rad) == Approx(-0.1).margin(0.03));
}

TEST_CASE(
    "marks may be light at one end and dark at the other, as long as they lack colour at both") {
  const MarkTemplate a = end_at(0.3, 0.005, 1);
  const MarkTemplate b = times(end_at(-0.1, 0.005, 2), -1.0, 1.0);
  const cv::Mat1f luma = b.value[luma_channel].clone();
  CHECK(likeness(a, b) > 0.9);
  const MarkAngles found = mark_angles(a, b, strip);
  // What was asked about stays as it was, or frames would be read by a template turned inside out.
  CHECK(cv::norm(luma, b.value[luma_channel], cv::NORM_INF) == 0.0);
  CHECK(angle::deg_from_rad(found.a_rad) == Approx(0.3).margin(0.03));
  CHECK(angle::deg_from_rad(found.b_rad) == Approx(-0.1).margin(0.03));
  const MarkTemplate other = times(b, -1.0, -1.0);  // luma as at a, but more colour than about it
  CHECK(likeness(a, other) < 0.3);
  const MarkTemplate grey_a = times(a, 1.0, 0.0), grey_b = times(b, 1.0, 0.0);
  CHECK(likeness(grey_a, grey_b) < 0.3);  // nothing bears the change of sign out
}

TEST_CASE("where the pupil's edge hides the outer marks of one end, the inner ones are compared") {
  const MarkTemplate a = end_of({{10, 0.3, 0.3}, {15, 0.3, 0.3}, {20, 0.3, 0.3}}, 0.005, 1);
  // In the place of the two outer marks lies an edge that runs across, nearer by a decentred lens.
  const MarkTemplate b = end_of({{12, -0.1, 0.3}, {16, -3.0, 0.3}, {20, 3.0, 0.3}}, 0.005, 2);
  MarkTemplate cut_a = a, cut_b = b;
  REQUIRE(likeness(a, b) < 0.6);
  REQUIRE(keep_what_both_show(cut_a, cut_b, grid));
  CHECK(likeness(cut_a, cut_b) > 0.8);
  CHECK(cut_a.mean_distance == Approx(grid.at(10)).margin(0.02));
  CHECK(cut_b.mean_distance == Approx(grid.at(12)).margin(0.02));
  const MarkAngles found = mark_angles(cut_a, cut_b, strip);
  CHECK(angle::deg_from_rad(found.a_rad) == Approx(0.3).margin(0.05));
  CHECK(angle::deg_from_rad(found.b_rad) == Approx(-0.1).margin(0.05));
  // The templates that were handed in are left as they were.
  CHECK(power(a) > 2.0 * power(cut_a));
}

TEST_CASE("ends that are alike are kept whole, and ends that share nothing are not cut to fit") {
  MarkTemplate a = end_at(0.2, 0.005, 1), b = end_at(-0.2, 0.005, 2);
  const double before = power(a);
  CHECK_FALSE(keep_what_both_show(a, b, grid));
  CHECK(power(a) == before);
  int cut = 0;
  for (std::uint64_t seed = 1; seed <= 40; ++seed) {
    // Blobs anywhere, other ones at each end.
    cv::RNG random(seed);
    const auto clutter = [&] {
      const auto spot = [&] {
        return Spot{random.uniform(5, 24), random.uniform(-4.0, 4.0), random.uniform(-0.4, 0.4)};
      };
      return end_of({spot(), spot(), spot(), spot()}, 0.02, seed + 100);
    };
    MarkTemplate one = clutter(), other = clutter();
    cut += keep_what_both_show(one, other, grid) ? 1 : 0;
  }
  INFO(cut << " of 40 pairs of clutter");
  CHECK(cut <= 4);
}

TEST_CASE("marks lie in the run that holds the strongest distance, not at the optic's edge") {
  MarkProfile profile;
  for (auto& channel : profile.weight) channel.assign(static_cast<std::size_t>(grid.count), 0.0F);
  for (const int k : {9, 10, 13, 14}) profile.weight[0][static_cast<std::size_t>(k)] = 6.0F;
  profile.weight[1][28] = -3.0F;  // far beyond: an edge
  const auto share = mark_distances(profile, grid);
  for (const std::size_t k : {9U, 10U, 13U, 14U}) CHECK(share[k] > 0.7F);
  CHECK(share[3] == 0.0F);
  CHECK(share[20] == 0.0F);
  CHECK(share[28] == 0.0F);
  for (auto& channel : profile.weight) channel.assign(channel.size(), 0.0F);
  for (const float one : mark_distances(profile, grid)) CHECK(one == 1.0F);
}

TEST_CASE("a template built for its distances leaves out a stronger edge elsewhere") {
  TemplateBuilder one(grid, strip), other(grid, strip);
  const MarkTemplate marks = end_at(0.0, 0.0, 1);
  for (int k = 0; k < 10; ++k) {
    cv::RNG random(static_cast<std::uint64_t>(k) + 1);
    for (TemplateBuilder* builder : {&one, &other}) {
      MarkStrip seen;
      for (std::size_t channel = 0; channel < channel_count; ++channel) {
        cv::Mat1f noise(grid.count, strip.columns());
        random.fill(noise, cv::RNG::NORMAL, 0.0, 0.02);
        seen.value[channel] = marks.value[channel] + noise;
        // The rhexis runs past one end only.
        if (builder == &one) seen.value[channel].row(27) += 3.0;
      }
      seen.usable = cv::Mat1f::ones(grid.count, strip.columns());
      builder->add(seen, 1.0F);
    }
  }
  std::vector<float> distances(static_cast<std::size_t>(grid.count), 0.0F);
  std::fill(distances.begin() + 6, distances.begin() + 21, 1.0F);
  CHECK(likeness(one.build(), other.build()) < 0.3);
  CHECK(likeness(one.build(distances), other.build(distances)) > 0.9);
  CHECK(one.build(distances).mean_distance == Approx(grid.at(13)).margin(0.03));
}

TEST_CASE("a fold that both ends happen to show is not taken for marks: it leans to one side") {
  // What lies further out lies further round, as with an edge that crosses the strip at a slope.
  const MarkTemplate fold = end_of({{9, -1.2, 0.3}, {12, 0.0, 0.3}, {15, 1.2, 0.3}}, 0.005, 1);
  const MarkTemplate other = end_of({{9, -1.2, 0.3}, {12, 0.0, 0.3}, {15, 1.2, 0.3}}, 0.005, 2);
  CHECK(likeness(fold, other) > 0.9);
  CHECK(symmetry(fold) < 0.7);
  CHECK(common_marks(fold, other) < least_common_marks);
  const MarkTemplate marks = end_at(1.5, 0.005, 3);
  CHECK(symmetry(marks) > 0.95);  // wherever in the strip they lie
  CHECK(common_marks(marks, end_at(-0.8, 0.005, 4)) > least_common_marks);
  CHECK(common_marks(marks, end_at(0.8, 0.005, 4)) > 0.9);
  CHECK(common_marks(marks, fold) < least_common_marks);
}
