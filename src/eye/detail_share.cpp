#include "eye/detail_share.h"

#include <Eigen/Core>
#include <algorithm>
#include <cmath>

namespace rhumb::eye {
namespace {

using Row = Eigen::Map<const Eigen::ArrayXf>;
constexpr int most_columns = 64;  // of a sector
using Piece = Eigen::Array<float, Eigen::Dynamic, 1, 0, most_columns, 1>;

// Without its mean and its slope.
Piece detail_of(const Piece& values, const Piece& ramp) {
  const Piece centred = values - values.mean();
  return centred - ramp * ((centred * ramp).sum() / ramp.square().sum());
}

}  // namespace

double detail_share(const TemplateLevel& level, const std::vector<float>& contrast,
                    const std::vector<float>& mask) {
  const int n = level.shape.meridians, width = std::min(n / ring_sectors, most_columns);
  const Piece ramp = Piece::LinSpaced(width, -1.0F, 1.0F);
  double share = 0.0;
  for (int s = 0; s < ring_sectors; ++s) {
    double both = 0.0, atlas = 0.0, frame = 0.0, count = 0.0;
    for (int k = 0; k < level.shape.rows; ++k) {
      const std::ptrdiff_t j =
          static_cast<std::ptrdiff_t>(k) * n + static_cast<std::ptrdiff_t>(s) * width;
      const Piece weight = Row(level.inv_var.data() + j, width) * Row(mask.data() + j, width);
      if ((weight <= 0.0F).any()) continue;
      const Piece in_atlas = detail_of(Row(level.value.data() + j, width), ramp);
      const Piece in_frame = detail_of(Row(contrast.data() + j, width), ramp);
      both += static_cast<double>((weight * in_atlas * in_frame).sum());
      atlas += static_cast<double>((weight * in_atlas.square()).sum());
      frame += static_cast<double>((weight * in_frame.square()).sum());
      count += width;
    }
    if (count < 0.25 * width * level.shape.rows) continue;
    // As in the ring share: against the correlation that noise alone would leave.
    const double best = std::sqrt(atlas / (atlas + count + 1e-20));
    const double got = both / std::sqrt(atlas * frame + 1e-20);
    share += best > 0.0 ? std::clamp((got / best - 0.2) / 0.6, 0.0, 1.0) : 0.0;
  }
  return share / ring_sectors;
}

}  // namespace rhumb::eye
