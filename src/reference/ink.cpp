#include "reference/ink.h"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "angle/angle.h"

namespace rhumb::reference {

namespace {

using angle::pi;
using angle::rad_from_deg;
using angle::wrap_meridian;
using angle::wrap_rotation;

// Where ink lies: from just inside the limbus to two millimetres of sclera; in limbal radii.
constexpr double ink_inner = 0.93, ink_outer = 1.28;
// Half width of the surroundings that the bluish excess is measured against.
constexpr double surround_rad = rad_from_deg(14.0);
// Standard deviation of the bell that stands for a mark's profile: marks are a quarter of a
// millimetre wide, 2.5 degrees.
constexpr double usual_width_rad = rad_from_deg(1.2);
constexpr double widths_deg[] = {0.6, 0.9, 1.3, 1.9, 2.8};
// One mark looks for its place within three placing deviations; no mark's evidence counts for more
// than this many units of log-likelihood, so that one strong blot does not outvote the others.
constexpr double plain_evidence = 40.0;
// A mark is clear when its bluish excess is this many deviations of the ring's own colour noise.
constexpr double clear_strength = 4.0;
// Where clear marks say that it lies, within two deviations, a fainter one will do.
constexpr double fair_strength = 3.0;
constexpr double ink_middle = 1.08;
// Dye runs, dries in patches and is pressed unevenly: its middle lies beside the line that was
// drawn by about this (0.02 mm at the limbus). Set on recordings made for tuning, ours and others'.
constexpr double least_se_rad = rad_from_deg(0.2);

struct Profile {
  std::vector<double> excess;    // bluish excess by column, grey levels of chroma
  std::vector<double> filtered;  // the same through the usual bell
  double noise = 0.0;            // robust deviation of `filtered`
  double at(const std::vector<double>& v, double column) const {
    const auto n = static_cast<double>(v.size());
    double c = column - n * std::floor(column / n);
    const auto i = static_cast<std::size_t>(c);
    c -= static_cast<double>(i);
    return (1.0 - c) * v[i % v.size()] + c * v[(i + 1) % v.size()];
  }
};

double median(std::vector<double> values) {
  if (values.empty()) return 0.0;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

// Ink is blue to violet: it raises cb. Vessels and blood raise cr and lower cb; so cb alone tells
// them apart.
Profile bluish_excess(const eye::EyeAtlas& atlas) {
  const cv::Mat& cb = atlas.ring_cb;
  const int n = cb.cols;
  Profile profile;
  std::vector<double> level(n, 0.0);
  const int first = static_cast<int>(std::ceil(atlas.row_of(ink_inner)));
  const int last = std::min(cb.rows - 1, static_cast<int>(atlas.row_of(ink_outer)));
  for (int i = 0; i < n; ++i) {
    double sum = 0.0, count = 0.0;
    for (int k = first; k <= last; ++k) {
      const double seen = static_cast<double>(atlas.ring_seen.at<float>(k, i)) > 0.2 ? 1.0 : 0.0;
      sum += seen * static_cast<double>(cb.at<float>(k, i));
      count += seen;
    }
    level[i] = count > 0.0 ? sum / count : 0.0;
  }
  const int half = std::max(2, static_cast<int>(surround_rad / (2.0 * pi) * n));
  std::vector<double> window;
  for (int i = 0; i < n; ++i) {
    window.clear();
    for (int d = -half; d <= half; ++d) window.push_back(level[(i + d + n) % n]);
    profile.excess.push_back(level[i] - median(window));
  }
  const double sd = usual_width_rad / (2.0 * pi) * n;
  const int reach = static_cast<int>(std::ceil(3.0 * sd));
  for (int i = 0; i < n; ++i) {
    double sum = 0.0, weight = 0.0;
    for (int d = -reach; d <= reach; ++d) {
      const double w = std::exp(-0.5 * d * d / (sd * sd));
      sum += w * profile.excess[(i + d + n) % n];
      weight += w;
    }
    profile.filtered.push_back(sum / weight);
  }
  std::vector<double> sizes;
  for (const double v : profile.filtered) sizes.push_back(std::abs(v));
  // Colour is coded in whole levels and averaged over frames; a tenth of a level is the least that
  // can be noise.
  profile.noise = std::max(0.1, 1.4826 * median(sizes));
  return profile;
}

struct Place {
  double rad = 0.0;
  double score = 0.0;
};

// The best place of one mark near where it is expected: evidence less what its distance costs.
Place best_place(const Profile& profile, double expected_rad, double placing_sd) {
  const auto n = static_cast<double>(profile.filtered.size());
  Place best{expected_rad, -1e9};
  const double step = 2.0 * pi / n;
  const int reach = static_cast<int>(std::ceil(3.0 * placing_sd / step));
  for (int d = -reach; d <= reach; ++d) {
    const double at = expected_rad + d * step;
    const double z = std::max(0.0, profile.at(profile.filtered, at / step)) / profile.noise;
    const double off = d * step / placing_sd;
    const double score =
        plain_evidence * std::log1p(0.5 * z * z / plain_evidence) - 0.5 * off * off;
    if (score > best.score) best = {at, score};
  }
  return best;
}

// Least-squares fit of a bell on a straight ground about a first place.
FoundMark measure(const Profile& profile, double first_rad, double reach_rad) {
  const auto n = static_cast<double>(profile.excess.size());
  const double step = 2.0 * pi / n;
  FoundMark mark;
  double best = -1.0, best_at = first_rad, best_width = usual_width_rad, amplitude = 0.0,
         noise = 0.0;
  const int window = static_cast<int>(std::ceil(rad_from_deg(7.0) / step));
  const auto fit = [&](double at, double width) {
    Eigen::Matrix3d h = Eigen::Matrix3d::Identity() * 1e-9;
    Eigen::Vector3d g = Eigen::Vector3d::Zero();
    double square = 0.0;
    const int middle = static_cast<int>(std::lround(first_rad / step));
    for (int d = -window; d <= window; ++d) {
      const double x = (middle + d) * step;
      const double y = profile.at(profile.excess, middle + d);
      const Eigen::Vector3d a(1.0, x - first_rad,
                              std::exp(-0.5 * (x - at) * (x - at) / (width * width)));
      h += a * a.transpose();
      g += a * y;
      square += y * y;
    }
    const Eigen::Vector3d x = h.ldlt().solve(g);
    // Explained beyond the straight ground, only for a bell that rises.
    const Eigen::Matrix2d h2 = h.topLeftCorner<2, 2>();
    const double gain = x.dot(g) - g.head<2>().dot(h2.ldlt().solve(g.head<2>()));
    if (x(2) > 0.0 && gain > best) {
      best = gain;
      best_at = at;
      best_width = width;
      amplitude = x(2);
      noise = std::sqrt(std::max(0.0, square - x.dot(g)) / (2.0 * window - 4.0));
    }
  };
  for (const double width : widths_deg) {
    for (double d = -reach_rad; d <= reach_rad; d += 0.5 * step)
      fit(first_rad + d, rad_from_deg(width));
  }
  for (double fine = 0.25 * step; fine > 0.01 * step; fine *= 0.5) {
    const double at = best_at;
    fit(at - fine, best_width);
    fit(at + fine, best_width);
  }
  mark.atlas_rad = wrap_meridian(best_at);
  mark.strength = profile.at(profile.filtered, best_at / step) / profile.noise;
  mark.found = amplitude > 0.0 && mark.strength >= clear_strength;
  // Place of a bell of this width in noise that is correlated over a degree or so (chroma is coded
  // at half the resolution and smoothed): sd = width / (amplitude / noise) * sqrt(correlated /
  // independent points).
  const double independent = std::max(1.0, best_width * std::sqrt(pi) / rad_from_deg(1.0));
  mark.se_rad = std::hypot(
      least_se_rad,
      amplitude > 0.0 ? best_width * noise / amplitude * std::sqrt(2.0 / independent) : 1.0);
  return mark;
}

// Which way an error of the limbus's centre turns a mark, in radians a limbal radius.
Eigen::Vector2d tangent_at(double atlas_rad) {
  return Eigen::Vector2d(-std::sin(atlas_rad), std::cos(atlas_rad)) / ink_middle;
}

double centre_turns(const Eigen::Matrix2d& centre_cov, double atlas_rad) {
  const Eigen::Vector2d tangent = tangent_at(atlas_rad);
  return std::sqrt(tangent.dot(centre_cov * tangent));
}

// The zero meridian as the mean of the found marks, after the limbus centre's error has been
// weighed: marks are put radially to the eye's centre, so three or more marks tell something about
// it. Gaussian posterior of the centre with independent placing errors, the zero itself free. False
// when no mark is clear.
bool settle_zero(InkFinding& finding, double turn, const eye::LimbusInAtlas& limbus,
                 const InkOptions& options) {
  const Eigen::Matrix2d& centre_cov = limbus.centre_cov;
  Eigen::Matrix3d h = Eigen::Matrix3d::Zero();
  h.bottomRightCorner<2, 2>() = centre_cov.inverse();
  Eigen::Vector3d g = Eigen::Vector3d::Zero();
  g.tail<2>() = h.bottomRightCorner<2, 2>() * limbus.centre;
  Eigen::Vector2d tangents = Eigen::Vector2d::Zero();
  double sum = 0.0, count = 0.0, variance = 0.0;
  for (const FoundMark& mark : finding.marks) {
    if (!mark.found) continue;
    const Eigen::Vector2d tangent = tangent_at(mark.atlas_rad);
    const Eigen::Vector3d a(1.0, tangent.x(), tangent.y());
    const double off = wrap_rotation(mark.atlas_rad - mark.stated_rad - turn);
    const double weight =
        1.0 / (options.placing_sd_rad * options.placing_sd_rad + mark.se_rad * mark.se_rad);
    h += weight * a * a.transpose();
    g += weight * a * off;
    tangents += tangent;
    sum += off;
    variance += mark.se_rad * mark.se_rad;
    count += 1.0;
  }
  if (count < 1.0) {
    finding.why_not = "no ink mark stands out from the colour of the limbus";
    return false;
  }
  const Eigen::Matrix3d posterior = h.inverse();
  const Eigen::Vector2d centre = (posterior * g).tail<2>();
  tangents /= count;
  finding.found = true;
  finding.zero_rad = wrap_rotation(-(turn + sum / count - tangents.dot(centre)));
  // The mean of all stated marks is what was meant; those that aren't seen were placed with an
  // error of their own.
  const double unseen = options.placing_sd_rad * options.placing_sd_rad *
                        (1.0 / count - 1.0 / static_cast<double>(finding.marks.size()));
  finding.se_rad = std::sqrt(variance / (count * count) + unseen +
                             tangents.dot(posterior.bottomRightCorner<2, 2>() * tangents));
  for (FoundMark& mark : finding.marks) {
    if (!mark.found) continue;
    mark.residual_rad = wrap_rotation(mark.atlas_rad + finding.zero_rad - mark.stated_rad -
                                      tangent_at(mark.atlas_rad).dot(centre));
    if (count < 2.0) continue;
    // Against the mean of the others; three deviations of placing, measuring and centring.
    const double off = mark.residual_rad * count / (count - 1.0);
    const double sd =
        std::sqrt(count / (count - 1.0)) *
        std::hypot(options.placing_sd_rad, mark.se_rad, centre_turns(centre_cov, mark.atlas_rad));
    mark.disagrees = std::abs(off) > 3.0 * sd;
  }
  return true;
}

// Marks that are faint by themselves, but lie where the clear ones say.
void accept_faint(std::vector<FoundMark>& marks, const Eigen::Matrix2d& centre_cov,
                  const InkOptions& options) {
  double sum = 0.0, count = 0.0;
  for (const FoundMark& mark : marks) {
    if (!mark.found) continue;
    sum += wrap_rotation(mark.atlas_rad - mark.stated_rad);
    count += 1.0;
  }
  if (count == 0.0) return;
  for (FoundMark& mark : marks) {
    const double off = wrap_rotation(mark.atlas_rad - mark.stated_rad - sum / count);
    // Two marks differ by both placing errors, both readings and the limbus centre's error.
    const double sd =
        std::numbers::sqrt2 *
        std::hypot(options.placing_sd_rad, centre_turns(centre_cov, mark.atlas_rad), mark.se_rad);
    if (mark.strength >= fair_strength && std::abs(off) < 2.0 * sd) mark.found = true;
  }
}

}  // namespace

InkFinding find_ink(const eye::EyeAtlas& atlas, std::span<const double> meridians_rad,
                    std::optional<double> target_axis_rad, const InkOptions& options) {
  InkFinding finding;
  if (meridians_rad.empty() || atlas.ring_cb.empty()) {
    finding.why_not = "no ink meridians are stated or the recording has no colour";
    return finding;
  }
  const Profile profile = bluish_excess(atlas);
  const Eigen::Matrix2d& centre_cov = atlas.limbus.centre_cov;
  const auto place_of = [&](double expected_rad, double placing_sd) {
    return best_place(profile, expected_rad,
                      std::hypot(placing_sd, centre_turns(centre_cov, expected_rad)));
  };
  const double step = 2.0 * pi / static_cast<double>(profile.filtered.size());
  double best = -1e18, turn = 0.0;
  for (double t = -3.0 * options.prior_rotation_sd_rad; t <= 3.0 * options.prior_rotation_sd_rad;
       t += step) {
    double score = -0.5 * t * t / (options.prior_rotation_sd_rad * options.prior_rotation_sd_rad);
    for (const double m : meridians_rad) {
      score += place_of(m + t, options.placing_sd_rad).score;
    }
    if (score > best) {
      best = score;
      turn = t;
    }
  }
  for (const double m : meridians_rad) {
    const Place place = place_of(m + turn, options.placing_sd_rad);
    finding.marks.push_back(measure(profile, place.rad, rad_from_deg(2.0)));
    finding.marks.back().stated_rad = wrap_meridian(m);
  }
  accept_faint(finding.marks, centre_cov, options);
  if (!settle_zero(finding, turn, atlas.limbus, options)) return finding;
  if (target_axis_rad) {
    for (const double m : {*target_axis_rad, *target_axis_rad + pi}) {
      const Place place = place_of(m - finding.zero_rad, 2.0 * options.placing_sd_rad);
      FoundMark mark = measure(profile, place.rad, rad_from_deg(2.0));
      mark.stated_rad = wrap_meridian(m);
      mark.residual_rad = wrap_rotation(mark.atlas_rad + finding.zero_rad - m);
      if (!finding.target || mark.strength > finding.target->strength) finding.target = mark;
    }
  }
  return finding;
}

}  // namespace rhumb::reference
