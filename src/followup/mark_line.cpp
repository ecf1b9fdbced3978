#include "followup/mark_line.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace rhumb::followup {
namespace {

constexpr double window = 0.05;      // limbal radii to either side of a piece
constexpr double flank = 0.028;      // from here on it is ground
constexpr double most_off = 0.022;   // of a piece from where it was found
constexpr double piece_se = 0.0012;  // limbal radii: no piece's middle is known better
constexpr double least_contrast = 2.5;

struct Across {
  double offset = 0;  // limbal radii, towards the left of the direction
  double se = 1;
};

struct Profile {
  int half = 0;
  std::vector<double> value;
  std::vector<char> seen;
  std::size_t index(int v) const {  // v from -half on
    return static_cast<std::size_t>(v) + static_cast<std::size_t>(half);
  }
  double& at(int v) { return value[index(v)]; }
  bool has(int v) const { return seen[index(v)] != 0; }
};

// Brightness across, averaged along the piece.
Profile profile_across(const StraightPupil& pupil, const Eigen::Vector2d& piece,
                       const Eigen::Vector2d& u, double length) {
  const Eigen::Vector2d left(-u.y(), u.x());
  const double cell = 1.0 / pupil.scale;
  const int along = static_cast<int>(std::ceil(0.5 * length / cell));
  Profile out;
  out.half = static_cast<int>(std::ceil(window / cell));
  for (int v = -out.half; v <= out.half; ++v) {
    double sum = 0;
    int n = 0;
    for (int k = -along; k <= along; ++k) {
      const Eigen::Vector2d p = pupil.pixel(piece + u * (k * cell) + left * (v * cell));
      const int x = static_cast<int>(std::floor(p.x())), y = static_cast<int>(std::floor(p.y()));
      if (x < 0 || y < 0 || x + 1 >= pupil.bright.cols || y + 1 >= pupil.bright.rows) continue;
      if (!pupil.clear.at<unsigned char>(y, x)) continue;
      const double fx = p.x() - x, fy = p.y() - y;
      const float* r0 = pupil.bright.ptr<float>(y) + x;
      const float* r1 = pupil.bright.ptr<float>(y + 1) + x;
      sum += (r0[0] * (1 - fx) + r0[1] * fx) * (1 - fy) + (r1[0] * (1 - fx) + r1[1] * fx) * fy;
      ++n;
    }
    out.seen.push_back(n > along ? 1 : 0);
    out.value.push_back(n > along ? sum / n : 0.0);
  }
  return out;
}

// Takes the straight line through both flanks away; gives the scatter about it, nothing where less
// than half of them is seen.
std::optional<double> level(Profile& profile, int flank_cells) {
  double s0 = 0, s1 = 0, s2 = 0, t0 = 0, t1 = 0;
  for (int v = -profile.half; v <= profile.half; ++v) {
    if (std::abs(v) < flank_cells || !profile.has(v)) continue;
    s0 += 1;
    s1 += v;
    s2 += static_cast<double>(v) * v;
    t0 += profile.at(v);
    t1 += v * profile.at(v);
  }
  if (s0 < profile.half - flank_cells) return std::nullopt;
  const double slope = (s0 * t1 - s1 * t0) / (s0 * s2 - s1 * s1), ground = (t0 - slope * s1) / s0;
  double noise = 0;
  for (int v = -profile.half; v <= profile.half; ++v) {
    if (!profile.has(v)) continue;
    profile.at(v) -= ground + slope * v;
    if (std::abs(v) >= flank_cells) noise += profile.at(v) * profile.at(v);
  }
  return std::sqrt(noise / std::max(1.0, s0 - 2));
}

// A piece's middle: the centre of mass of its peak's upper two thirds.
std::optional<Across> measure_piece(const StraightPupil& pupil, const Eigen::Vector2d& piece,
                                    const Eigen::Vector2d& u, double length) {
  Profile profile = profile_across(pupil, piece, u, length);
  const double cell = 1.0 / pupil.scale;
  const int near = static_cast<int>(std::lround(flank / cell));
  const auto noise = level(profile, near);
  if (!noise) return std::nullopt;
  int top = 0;
  for (int v = -near + 1; v < near; ++v)
    if (std::abs(profile.at(v)) > std::abs(profile.at(top))) top = v;
  const double peak = profile.at(top), contrast = std::abs(peak) / std::max(*noise, 1e-4);
  if (contrast < least_contrast) return std::nullopt;
  double mass = 0, moment = 0;
  int width = 0;
  for (const int side : {-1, 1})
    for (int v = side < 0 ? top : top + 1; std::abs(v) <= profile.half; v += side) {
      if (!profile.has(v)) return std::nullopt;  // its middle would lean to what is seen
      const double over = profile.at(v) / peak - 0.35;
      if (over <= 0) break;
      mass += over;
      moment += over * v;
      ++width;
    }
  if (std::abs(moment / mass * cell) > most_off) return std::nullopt;
  // Centre of a bump of this width in noise whose neighbours hang together over about its width.
  return Across{moment / mass * cell, std::hypot(0.5 * width * cell / contrast, piece_se)};
}

struct Piece {
  int side = 1;
  double along = 0;  // from the lens centre, signed
  Across across;
};

std::vector<Piece> measure_pieces(const StraightPupil& pupil, const MarkPattern& pattern,
                                  const MarkPlace& place, bool both) {
  std::vector<Piece> out;
  const Eigen::Vector2d u(std::cos(place.direction_rad), std::sin(place.direction_rad));
  for (const int side : {1, -1})
    for (int k = 0; k < pattern.pieces && (side > 0 || both); ++k) {
      const Eigen::Vector2d p = place.piece(pattern, side, k);
      const auto across = measure_piece(pupil, p, u, pattern.along ? place.step : pattern.size);
      if (across) out.push_back({side, (p - place.centre).dot(u), *across});
    }
  return out;
}

// Offset and slope of the line, the slope's standard error; Huber's weights.
struct Fit {
  double offset = 0, slope = 0, slope_se = 1;
};
std::optional<Fit> fit_line(const std::vector<Piece>& pieces) {
  Fit fit;
  if (pieces.size() < 2) return std::nullopt;
  std::vector<double> weight;
  weight.reserve(pieces.size());
  for (const Piece& p : pieces) weight.push_back(1 / (p.across.se * p.across.se));
  for (int round = 0; round < 8; ++round) {
    double s0 = 0, s1 = 0, s2 = 0, t0 = 0, t1 = 0, chi = 0;
    for (std::size_t i = 0; i < pieces.size(); ++i) {
      const double w = weight[i], x = pieces[i].along;
      s0 += w;
      s1 += w * x;
      s2 += w * x * x;
      t0 += w * pieces[i].across.offset;
      t1 += w * x * pieces[i].across.offset;
    }
    const double det = s0 * s2 - s1 * s1;
    fit.slope = (s0 * t1 - s1 * t0) / det;
    fit.offset = (t0 - fit.slope * s1) / s0;
    for (std::size_t i = 0; i < pieces.size(); ++i) {
      const double r = pieces[i].across.offset - fit.offset - fit.slope * pieces[i].along;
      const double z = std::abs(r) / pieces[i].across.se;
      chi += weight[i] * r * r;
      weight[i] = (z < 1.5 ? 1.0 : 1.5 / z) / (pieces[i].across.se * pieces[i].across.se);
    }
    const double freedom = static_cast<double>(pieces.size()) - 2;
    fit.slope_se = std::sqrt(s0 / det * (freedom > 0 ? std::max(1.0, chi / freedom) : 1.0));
  }
  return fit;
}

// The line through the pieces of both ends, or of end a alone, from where `now` has them.
std::optional<MarkLine> settled(const StraightPupil& pupil, const MarkPattern& pattern,
                                MarkPlace now, bool both) {
  MarkLine out;
  for (int round = 0; round < 4; ++round) {
    const std::vector<Piece> pieces = measure_pieces(pupil, pattern, now, both);
    const auto is_of = [](int side) { return [side](const Piece& p) { return p.side == side; }; };
    if (both && (std::none_of(pieces.begin(), pieces.end(), is_of(1)) ||
                 std::none_of(pieces.begin(), pieces.end(), is_of(-1))))
      return std::nullopt;
    const auto fit = fit_line(pieces);
    if (!fit) return std::nullopt;
    now.centre +=
        fit->offset * Eigen::Vector2d(-std::sin(now.direction_rad), std::cos(now.direction_rad));
    now.direction_rad += std::atan(fit->slope);
    out.se_rad = fit->slope_se;
    out.pieces = static_cast<int>(pieces.size());
  }
  out.centre = now.centre;
  out.direction_rad = now.direction_rad;
  return out;
}

}  // namespace

std::optional<MarkLine> measure_line(const StraightPupil& pupil, const MarkPattern& pattern,
                                     const MarkPlace& place) {
  return settled(pupil, pattern, place, true);
}

std::optional<MarkLine> measure_row(const StraightPupil& pupil, const MarkPattern& pattern,
                                    const MarkPlace& place) {
  // About the row's own middle, so that its offset and its slope do not go together.
  MarkPlace row = place;
  row.centre +=
      place.distance * Eigen::Vector2d(std::cos(row.direction_rad), std::sin(row.direction_rad));
  row.distance = 0;
  return settled(pupil, pattern, row, false);
}

}  // namespace rhumb::followup
