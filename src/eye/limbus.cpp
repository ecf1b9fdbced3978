#include "eye/limbus.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <stdexcept>

#include "eye/limbus_choice.h"
#include "eye/limbus_fit.h"

namespace rhumb::eye {
namespace {

using limbus_fit::choose;
using limbus_fit::ExpectedCentre;
using limbus_fit::Fit;
using limbus_fit::SmallPicture;
using limbus_fit::worth;

constexpr double ring_width =
    0.08;  // log radius averaged on each side: the limbus is 5 to 12 % wide

// Between the centres of pupil and limbus, in limbal radii: half a millimetre of 5.85 is as much as
// is seen at all, 0.3 usual; a tilt of five degrees shifts the pupil by 0.25 more. Common practice,
// no source.
constexpr double pupil_sd = 0.06;

void check(const cv::Mat& luma, const cv::Mat& cb, const cv::Mat& cr) {
  if (luma.type() != CV_8UC1 || luma.cols < 32 || luma.rows < 32)
    throw std::invalid_argument("luma must be CV_8UC1 of 32 x 32 pixels or more");
  if (cb.empty() != cr.empty() || cb.size() != cr.size())
    throw std::invalid_argument("cb and cr must have the same size");
  if (!cb.empty() &&
      (cb.type() != CV_8UC1 || cr.type() != CV_8UC1 || std::abs(cb.cols * 2 - luma.cols) > 2 ||
       std::abs(cb.rows * 2 - luma.rows) > 2))
    throw std::invalid_argument("cb and cr must be CV_8UC1 of half width and height");
}

struct Vote {
  cv::Point2d centre;
  double strength = 0;
};

// Adds, for every radius, the votes of a channel's gradients for the centre they point away from:
// rings on which the channel rises outwards. Squared, so that one clear ring counts more than many
// weak ones.
void add_votes(const cv::Mat& channel, float noise, double least_radius, double most_radius,
               cv::Mat& sum) {
  cv::Mat blurred, gx, gy;
  cv::GaussianBlur(channel, blurred, cv::Size(), 1.5);
  cv::Sobel(blurred, gx, CV_32F, 1, 0, 3, 0.125);
  cv::Sobel(blurred, gy, CV_32F, 0, 1, 3, 0.125);
  struct Edge {
    float x, y, dx, dy, weight;
  };
  std::vector<Edge> edges;
  for (int y = 1; y + 1 < channel.rows; ++y) {
    const auto* px = gx.ptr<float>(y);
    const auto* py = gy.ptr<float>(y);
    for (int x = 1; x + 1 < channel.cols; ++x) {
      const float g = std::hypot(px[x], py[x]);
      if (g < 0.25F * noise) continue;
      edges.push_back({static_cast<float>(x) + 0.5F, static_cast<float>(y) + 0.5F, px[x] / g,
                       py[x] / g, g / (g + noise)});
    }
  }
  cv::Mat votes(channel.size(), CV_32F), mean;
  for (double r = least_radius; r <= most_radius; r *= 1.13) {
    votes.setTo(0);
    const auto radius = static_cast<float>(r);
    for (const Edge& e : edges) {
      const auto cx = static_cast<int>(std::floor(e.x - radius * e.dx));
      const auto cy = static_cast<int>(std::floor(e.y - radius * e.dy));
      if (cx < 0 || cy < 0 || cx >= channel.cols || cy >= channel.rows) continue;
      votes.at<float>(cy, cx) += e.weight;
    }
    // Less the votes that fall everywhere, times the radius: full rings of all sizes count alike.
    const int near = 2 * static_cast<int>(std::lround(std::max(1.0, 0.06 * r))) + 1;
    cv::blur(votes, mean, cv::Size(4 * near + 1, 4 * near + 1));
    cv::blur(votes, votes, cv::Size(near, near));
    cv::blur(votes, votes, cv::Size(near, near));
    votes = cv::max((votes - mean) * r, 0.0);
    sum += votes.mul(votes);
  }
}

// Centres of rings that brighten or lose colour outwards (iris in white sclera, red pupil in the
// iris), in pixels of `small` (CV_8UC3, some 200 wide).
std::vector<Vote> vote_centres(const cv::Mat& small, double least_radius, double most_radius) {
  cv::Mat bright(small.size(), CV_32F), pale(small.size(), CV_32F);
  for (int y = 0; y < small.rows; ++y) {
    const auto* in = small.ptr<cv::Vec3b>(y);
    auto* b = bright.ptr<float>(y);
    auto* p = pale.ptr<float>(y);
    for (int x = 0; x < small.cols; ++x) {
      const float luma = static_cast<float>(in[x][0]) + 12.0F;
      b[x] = std::log(luma);
      p[x] = -std::hypot(static_cast<float>(in[x][1]) - 128.0F,
                         static_cast<float>(in[x][2]) - 128.0F) /
             (luma + 48.0F);
    }
  }
  // Relative brightness and colour a pixel that a reduced picture's noise and texture reach.
  cv::Mat sum = cv::Mat::zeros(small.size(), CV_32F);
  add_votes(bright, 0.012F, 0.45 * least_radius, most_radius, sum);
  add_votes(pale, 0.006F, 0.45 * least_radius, most_radius, sum);
  std::vector<Vote> out;
  for (int k = 0; k < 4; ++k) {
    double top = 0;
    cv::Point at;
    cv::minMaxLoc(sum, nullptr, &top, nullptr, &at);
    if (top <= 0 || (k > 0 && top < 0.3 * out.front().strength)) break;
    out.push_back({cv::Point2d(at), top});
    cv::circle(sum, at, static_cast<int>(std::ceil(0.6 * least_radius)), cv::Scalar(0), cv::FILLED);
  }
  return out;
}

// Radii of rings about a centre whose step is alike all around; in the small picture's pixels.
std::vector<double> ring_radii(const SmallPicture& small, const Eigen::Vector2d& centre,
                               double least_radius, double most_radius) {
  LimbusEllipse unit;
  unit.centre_px = centre;
  unit.semi_major_px = unit.semi_minor_px = 1.0;
  const double step = 0.02;
  const int half = 5;  // log radius 0.1: wide, since centre and shape are rough still
  const auto polar = limbus_fit::unwrap(small, unit, 64, 1, std::log(least_radius) - 0.26,
                                        std::log(most_radius) + 0.26, step);
  const auto steps = limbus_fit::steps_of(polar, half, false);
  std::vector<double> score(static_cast<std::size_t>(polar.columns), 0.0);
  for (int i = 0; i < polar.columns; ++i) {
    const auto ring = limbus_fit::ring_step(steps, std::vector<int>(64, i));
    if (ring.sectors < 24 || ring.middle[0] < 0.01) continue;
    score[static_cast<std::size_t>(i)] = ring.contrast();
  }
  std::vector<double> out;
  for (int i = 1; i + 1 < polar.columns; ++i) {
    const double here = score[static_cast<std::size_t>(i)];
    if (here < 0.5 || here < score[static_cast<std::size_t>(i) - 1] ||
        here <= score[static_cast<std::size_t>(i) + 1])
      continue;
    out.push_back(std::exp(polar.log_from + i * step));
  }
  return out;
}

Fit fit_candidate(const SmallPicture& small, const Eigen::Vector2d& centre, double radius,
                  double chroma_trust, const std::optional<ExpectedCentre>& expected) {
  LimbusEllipse near;
  near.centre_px = centre;
  near.semi_major_px = near.semi_minor_px = radius;
  Fit fit;
  for (const double window : {0.16, 0.12, 0.08, 0.08}) {
    fit = limbus_fit::fit_round(small, near, window, ring_width, false, chroma_trust, expected);
    if (!fit.good) return fit;
    if (fit.ellipse.arc_share < 0.1 || fit.contrast < 0.5) return {};
    near = fit.ellipse;
  }
  return fit;
}

bool plausible(const Fit& fit, const LimbusOptions& options, double least, double most) {
  return fit.good && fit.ellipse.mean_radius_px() > 0.9 * least &&
         fit.ellipse.mean_radius_px() < 1.1 * most &&
         fit.ellipse.semi_minor_px > (1 - options.most_flattening) * fit.ellipse.semi_major_px &&
         fit.luma_step > -0.03;
}

LimbusEllipse in_picture(const SmallPicture& small, LimbusEllipse e) {
  e.centre_px = small.to_picture(e.centre_px);
  e.semi_major_px *= small.factor;
  e.semi_minor_px *= small.factor;
  return e;
}

LimbusEllipse in_small(const SmallPicture& small, LimbusEllipse e) {
  e.centre_px = small.to_small(e.centre_px);
  e.semi_major_px /= small.factor;
  e.semi_minor_px /= small.factor;
  return e;
}

void note(LimbusReport* report, const std::string& reason) {
  if (report) report->reason = reason;
}

}  // namespace

std::optional<LimbusEllipse> refine_limbus(const cv::Mat& luma, const cv::Mat& cb,
                                           const cv::Mat& cr, const LimbusEllipse& near,
                                           const LimbusOptions& options, LimbusReport* report) {
  check(luma, cb, cr);
  const double radius = near.mean_radius_px();
  if (!(radius > 8)) throw std::invalid_argument("the limbus to refine is too small");
  const int factor = std::max(1, static_cast<int>(radius / 90.0));
  const int reach = static_cast<int>(std::ceil(1.42 * near.semi_major_px)) + 2 * factor;
  const cv::Rect area(static_cast<int>(near.centre_px.x()) - reach,
                      static_cast<int>(near.centre_px.y()) - reach, 2 * reach, 2 * reach);
  const SmallPicture small = limbus_fit::reduce(luma, cb, cr, area, factor);
  if (small.pixels.empty()) {
    note(report, "the limbus lies outside the picture");
    return std::nullopt;
  }
  LimbusEllipse now = in_small(small, near);
  Fit fit;
  std::optional<ExpectedCentre> expected;
  if (options.pupil_px) expected = {small.to_small(*options.pupil_px), pupil_sd};
  // Colour settles what belongs to the ring; where its middle lies is then left to luma, since the
  // sclera's colour goes on changing outside of the limbus.
  for (const double window : {0.10, 0.08}) {
    fit = limbus_fit::fit_round(small, now, window, ring_width, true, 1.0, expected);
    if (!fit.good) break;
    now = fit.ellipse;
  }
  if (!plausible(fit, options, 8.0 / factor, 1e9)) {
    note(report, "no step from cornea to sclera near the expected place");
    return std::nullopt;
  }
  if (report) report->edge_noise = fit.edge_noise;
  if (fit.ellipse.arc_share < options.least_arc_share) {
    note(report, "too little of the limbus shows");
    return std::nullopt;
  }
  const Fit fine = limbus_fit::fit_round(small, now, 0.06, 0.06, true, 0.3, expected);
  if (fine.good && plausible(fine, options, 8.0 / factor, 1e9)) {
    fit.ellipse.centre_px = fine.ellipse.centre_px;
    fit.ellipse.semi_major_px = fine.ellipse.semi_major_px;
    fit.ellipse.semi_minor_px = fine.ellipse.semi_minor_px;
    fit.ellipse.angle_rad = fine.ellipse.angle_rad;
  }
  const double grow = std::exp(limbus_fit::middle_of_ring(small, fit.ellipse, 0.04, 0.06));
  fit.ellipse.semi_major_px *= grow;
  fit.ellipse.semi_minor_px *= grow;
  return in_picture(small, fit.ellipse);
}

std::optional<LimbusEllipse> find_limbus(const cv::Mat& luma, const cv::Mat& cb, const cv::Mat& cr,
                                         const LimbusOptions& options, LimbusReport* report) {
  check(luma, cb, cr);
  const int longer = std::max(luma.cols, luma.rows);
  const int factor = std::max(1, static_cast<int>(std::lround(longer / 440.0)));
  const SmallPicture small =
      limbus_fit::reduce(luma, cb, cr, cv::Rect(0, 0, luma.cols, luma.rows), factor);
  const double least = options.least_radius_share * longer / factor;
  const double most = options.most_radius_share * longer / factor;

  cv::Mat tiny;
  cv::resize(small.pixels, tiny, cv::Size(small.pixels.cols / 2, small.pixels.rows / 2), 0, 0,
             cv::INTER_AREA);
  std::vector<Fit> fits;
  // Far darker outside, shading and all: the rim of the field or of a bright pupil.
  constexpr double darker_outside = -0.05;
  // `pupil`: its radius, for rings that are meant to lie about one.
  const auto try_centre = [&](const Eigen::Vector2d& centre, std::optional<double> pupil = {}) {
    for (const double radius : ring_radii(small, centre, least, most)) {
      const bool known = std::any_of(fits.begin(), fits.end(), [&](const Fit& f) {
        return f.ellipse.arc_share > 0.5 && (f.ellipse.centre_px - centre).norm() < 0.08 * radius &&
               std::abs(f.ellipse.mean_radius_px() / radius - 1) < 0.07;
      });
      if (known) continue;
      std::optional<ExpectedCentre> expected;
      if (pupil && radius > 1.1 * *pupil) expected = {centre, pupil_sd};
      Fit fit = fit_candidate(small, centre, radius, 1.0, expected);
      // Where a soft limbus begins, colour may change before brightness does, and redness of the
      // sclera begin beyond it: once more by luma.
      if (fit.good && (fit.luma_step < 0.0 || fit.plain_step <= darker_outside)) {
        const Fit by_luma = fit_candidate(small, centre, radius, 0.1, expected);
        if (by_luma.good && by_luma.luma_step > 0.0) fit = by_luma;
      }
      if (plausible(fit, options, least, most) && fit.plain_step > darker_outside)
        fits.push_back(fit);
    }
  };
  for (const Vote& vote : vote_centres(tiny, least / 2, most / 2))
    try_centre({2 * vote.centre.x + 0.5, 2 * vote.centre.y + 0.5});
  // Once more about the best ring's own centre: a vote is some pixels off. If that is the pupil,
  // the limbus lies about it.
  const auto best = std::max_element(
      fits.begin(), fits.end(), [](const Fit& a, const Fit& b) { return worth(a) < worth(b); });
  if (best != fits.end())
    try_centre(Eigen::Vector2d(best->ellipse.centre_px), best->ellipse.mean_radius_px());
  std::stable_sort(fits.begin(), fits.end(),
                   [](const Fit& a, const Fit& b) { return worth(a) > worth(b); });
  if (report) {
    report->rings.clear();
    for (const Fit& fit : fits)
      report->rings.push_back({in_picture(small, fit.ellipse), fit.contrast, fit.luma_step});
  }
  const Fit* chosen = choose(fits, options.least_arc_share);
  if (!chosen || worth(*chosen) < 0.5) {
    note(report, "no ring that brightens outwards all around");
    return std::nullopt;
  }
  LimbusOptions nearby = options;
  if (const Fit* pupil = limbus_fit::pupil_of(*chosen, fits))
    nearby.pupil_px = small.to_picture(pupil->ellipse.centre_px);
  return refine_limbus(luma, cb, cr, in_picture(small, chosen->ellipse), nearby, report);
}

std::vector<LimbusEllipse> likely_limbi(const cv::Mat& luma, const cv::Mat& cb, const cv::Mat& cr,
                                        const LimbusOptions& options, int most) {
  LimbusReport report;
  std::vector<LimbusEllipse> out;
  if (const auto found = find_limbus(luma, cb, cr, options, &report)) out.push_back(*found);
  const auto add = [&](const LimbusReport::Ring& ring) {
    if (static_cast<int>(out.size()) >= most) return;
    for (const LimbusEllipse& e : out)
      if ((e.centre_px - ring.ellipse.centre_px).norm() < 0.1 * e.mean_radius_px() &&
          std::abs(e.mean_radius_px() / ring.ellipse.mean_radius_px() - 1) < 0.08)
        return;
    const auto fine = refine_limbus(luma, cb, cr, ring.ellipse, options);
    out.push_back(fine ? *fine : ring.ellipse);
  };
  // Larger rings first: what is mistaken for the limbus most often is the pupil inside it.
  const double radius = out.empty() ? 0.0 : out.front().mean_radius_px();
  for (const auto& ring : report.rings)
    if (ring.ellipse.mean_radius_px() > radius) add(ring);
  for (const auto& ring : report.rings) add(ring);
  return out;
}

}  // namespace rhumb::eye
