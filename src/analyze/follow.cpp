#include "analyze/follow.h"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <optional>

#include "angle/angle.h"
#include "lens/contrast.h"

namespace rhumb::analyze {
namespace {

// Both channels of a patch side by side, zero where nothing can be told.
cv::Mat2f contrast_of(const lens::Patch& patch, const lens::PatchGeometry& geometry) {
  const lens::ContrastMap map = lens::contrast_map(patch, geometry, {});
  cv::Mat2f both;
  cv::merge(std::vector<cv::Mat>{map.value[0], map.value[1]}, both);
  both.setTo(cv::Scalar::all(0.0), map.usable == 0);
  return both;
}

double parabola(float before, float peak, float after) {
  const double bend = before - 2.0 * peak + after;
  return std::abs(bend) < 1e-9 ? 0.0 : std::clamp(0.5 * (before - after) / bend, -0.5, 0.5);
}

// What one end looked like in the frame that was pointed at.
struct Look {
  cv::Mat2f piece;
  Eigen::Vector2d corner;  // whole pixels of the piece's top left
};

std::optional<Look> look_at(const cv::Mat2f& picture, const Eigen::Vector2d& middle, int half) {
  const cv::Point corner(static_cast<int>(std::lround(middle.x())) - half,
                         static_cast<int>(std::lround(middle.y())) - half);
  const cv::Rect area(corner, cv::Size(2 * half + 1, 2 * half + 1));
  if ((area & cv::Rect(cv::Point(), picture.size())) != area) return std::nullopt;
  return Look{picture(area).clone(), Eigen::Vector2d(corner.x, corner.y)};
}

double contrast_in(const Look& look) {
  cv::Scalar mean;
  cv::Scalar deviation;
  cv::meanStdDev(look.piece, mean, deviation);
  return std::max(deviation[0], deviation[1]);
}

struct Found {
  Eigen::Vector2d shift;  // pixels, from where it was in the first frame
  double likeness = -1.0;
};

Found find(const cv::Mat2f& picture, const Look& look, const Eigen::Vector2d& about, int search) {
  Found found{about, -1.0};
  const cv::Point corner(static_cast<int>(std::lround(look.corner.x() + about.x())) - search,
                         static_cast<int>(std::lround(look.corner.y() + about.y())) - search);
  const cv::Rect area = cv::Rect(corner, look.piece.size() + cv::Size(2 * search, 2 * search)) &
                        cv::Rect(cv::Point(), picture.size());
  if (area.width < look.piece.cols || area.height < look.piece.rows) return found;
  cv::Mat1f likeness;
  cv::matchTemplate(picture(area), look.piece, likeness, cv::TM_CCOEFF_NORMED);
  cv::Point best;
  double peak = 0.0;
  cv::minMaxLoc(likeness, nullptr, &peak, nullptr, &best);
  if (!std::isfinite(peak)) return found;
  found.likeness = peak;
  found.shift = Eigen::Vector2d(area.x + best.x, area.y + best.y) - look.corner;
  const auto at = [&](int x, int y) { return likeness(y, x); };
  if (best.x > 0 && best.x + 1 < likeness.cols) {
    found.shift.x() += parabola(at(best.x - 1, best.y), at(best.x, best.y), at(best.x + 1, best.y));
  }
  if (best.y > 0 && best.y + 1 < likeness.rows) {
    found.shift.y() += parabola(at(best.x, best.y - 1), at(best.x, best.y), at(best.x, best.y + 1));
  }
  return found;
}

class Follower {
 public:
  Follower(const lens::PatchStore& patches, std::size_t from,
           const std::array<Eigen::Vector2d, 2>& ends, const FollowOptions& options)
      : patches_(patches), options_(options) {
    const lens::PatchGeometry& geometry = patches.geometry();
    const cv::Mat2f picture = contrast_of(patches.at(from), geometry);
    const int half = static_cast<int>(std::lround(options.half_side * geometry.pixels_per_radius));
    for (int end = 0; end < 2; ++end) {
      ends_px_[end] = geometry.pixel_from(ends[static_cast<std::size_t>(end)]);
      const auto look = look_at(picture, ends_px_[end], half);
      if (!look || contrast_in(*look) < options.least_contrast) return;
      look_[end] = *look;
    }
    can_ = true;
  }

  bool can() const { return can_; }

  // Looks near `shift` (one an end), and moves it along where both ends were found.
  std::optional<FollowedFrame> look(std::size_t frame,
                                    std::array<Eigen::Vector2d, 2>& shift) const {
    if (!patches_.has(frame)) return std::nullopt;
    const lens::PatchGeometry& geometry = patches_.geometry();
    const cv::Mat2f picture = contrast_of(patches_.at(frame), geometry);
    const int search = static_cast<int>(std::ceil(options_.search * geometry.pixels_per_radius));
    std::array<Found, 2> found;
    for (std::size_t end = 0; end < 2; ++end)
      found[end] = find(picture, look_[end], shift[end], search);
    if (std::min(found[0].likeness, found[1].likeness) < options_.least_likeness)
      return std::nullopt;
    const Eigen::Vector2d before = ends_px_[1] - ends_px_[0];
    const Eigen::Vector2d after = before + found[1].shift - found[0].shift;
    if (std::abs(after.norm() - before.norm()) >
        options_.most_stretch * geometry.pixels_per_radius) {
      return std::nullopt;
    }
    // The patch counts rows downwards, turns are counter-clockwise.
    const double turn = angle::wrap_rotation(std::atan2(-after.y(), after.x()) -
                                             std::atan2(-before.y(), before.x()));
    if (std::abs(turn) > options_.most_turn_rad) return std::nullopt;
    shift = {found[0].shift, found[1].shift};
    // A peak's place scatters by about a fifth of a pixel where the pieces are alike, more where
    // they are not.
    const double likeness = std::min(found[0].likeness, found[1].likeness);
    const double place_px = 0.2 + 0.8 * (1.0 - likeness);
    return FollowedFrame{frame, turn, std::sqrt(2.0) * place_px / before.norm()};
  }

 private:
  const lens::PatchStore& patches_;
  FollowOptions options_;
  std::array<Look, 2> look_;
  std::array<Eigen::Vector2d, 2> ends_px_;
  bool can_ = false;
};

}  // namespace

std::vector<FollowedFrame> follow_marks(const lens::PatchStore& patches,
                                        std::span<const double> time_s, std::size_t from,
                                        const std::array<Eigen::Vector2d, 2>& ends_atlas,
                                        const FollowOptions& options) {
  std::vector<FollowedFrame> out;
  if (from >= patches.size() || !patches.has(from)) return out;
  const Follower follower(patches, from, ends_atlas, options);
  if (!follower.can()) return out;
  out.push_back({from, 0.0, 0.0});
  for (const int direction : {-1, 1}) {
    std::array<Eigen::Vector2d, 2> shift{Eigen::Vector2d::Zero(), Eigen::Vector2d::Zero()};
    double last_s = time_s[from];
    for (std::size_t k = from; direction > 0 ? ++k < patches.size() : k-- > 0;) {
      if (std::abs(time_s[k] - time_s[from]) > options.reach_s) break;
      if (std::abs(time_s[k] - last_s) > options.gap_s) break;
      if (const auto frame = follower.look(k, shift)) {
        out.push_back(*frame);
        last_s = time_s[k];
      }
    }
  }
  std::sort(out.begin(), out.end(), [](const auto& a, const auto& b) { return a.frame < b.frame; });
  return out;
}

}  // namespace rhumb::analyze
