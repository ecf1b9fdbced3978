#include "lens/end_line.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <vector>

namespace rhumb::lens {
namespace {

constexpr double reach_rad = 0.07;   // of a row's marks about those of all rows, either way
constexpr float least_share = 0.4F;  // of a row's peak; less is surroundings
constexpr int fewest_rows = 4;

struct Row {
  double inverse_distance = 0.0;
  double at_rad = 0.0;
  double weight = 0.0;
};

// Contrast in units of the noise, of both channels whatever their sign.
double size_at(const MarkTemplate& mark, int row, int col) {
  double squares = 0.0;
  for (std::size_t channel = 0; channel < channel_count; ++channel) {
    const double z = static_cast<double>(mark.value[channel](row, col)) / mark.noise[channel];
    squares += z * z;
  }
  return std::sqrt(squares);
}

// The column that holds most over all rows.
double strongest_angle(const MarkTemplate& mark, const StripGeometry& geometry) {
  double most = -1.0;
  double at = 0.0;
  for (int col = 0; col < geometry.columns(); ++col) {
    double sum = 0.0;
    for (int row = 0; row < mark.value[0].rows; ++row)
      sum += std::pow(size_at(mark, row, col), 2.0);
    if (sum > most) {
      most = sum;
      at = geometry.angle_at(col);
    }
  }
  return at;
}

// Where a row's marks lie: the middle of what rises above its surroundings.
Row row_of(const MarkTemplate& mark, int row, double about_rad, const StripGeometry& geometry) {
  Row out;
  std::vector<double> sizes(static_cast<std::size_t>(geometry.columns()), 0.0);
  double peak = 0.0;
  for (int col = 0; col < geometry.columns(); ++col) {
    if (std::abs(geometry.angle_at(col) - about_rad) > reach_rad) continue;
    sizes[static_cast<std::size_t>(col)] = size_at(mark, row, col);
    peak = std::max(peak, sizes[static_cast<std::size_t>(col)]);
  }
  double sum = 0.0;
  for (int col = 0; col < geometry.columns(); ++col) {
    const double above = std::max(
        0.0, sizes[static_cast<std::size_t>(col)] - static_cast<double>(least_share) * peak);
    sum += above;
    out.at_rad += above * geometry.angle_at(col);
  }
  if (sum <= 0.0) return out;
  out.at_rad /= sum;
  out.weight = peak * peak;
  return out;
}

}  // namespace

EndLine end_line_of(const MarkTemplate& mark, const RadialGrid& grid,
                    const StripGeometry& geometry) {
  const double about = strongest_angle(mark, geometry);
  std::vector<Row> rows;
  double strongest = 0.0;
  for (int row = 0; row < grid.count; ++row) {
    Row one = row_of(mark, row, about, geometry);
    one.inverse_distance = 1.0 / grid.at(row);
    strongest = std::max(strongest, one.weight);
    rows.push_back(one);
  }
  // The ends of a line and the rims of a dot are half in the surroundings.
  std::erase_if(rows, [&](const Row& row) { return row.weight < 0.1 * strongest; });
  EndLine out;
  if (rows.size() < fewest_rows) return out;
  Eigen::Matrix2d normal = Eigen::Matrix2d::Zero();
  Eigen::Vector2d right = Eigen::Vector2d::Zero();
  for (const Row& row : rows) {
    const Eigen::Vector2d basis(1.0, row.inverse_distance);
    normal += row.weight * basis * basis.transpose();
    right += row.weight * row.at_rad * basis;
  }
  const Eigen::Vector2d line = normal.ldlt().solve(right);
  double squares = 0.0;
  for (const Row& row : rows) {
    const double off = row.at_rad - line(0) - line(1) * row.inverse_distance;
    squares += row.weight * off * off;
  }
  // Neighbouring rows share pixels: half of them count.
  const double free = std::max(1.0, 0.5 * static_cast<double>(rows.size()) - 2.0);
  out.found = true;
  out.offset = line(1);
  out.offset_se = std::sqrt(squares / free * normal.inverse()(1, 1));
  return out;
}

}  // namespace rhumb::lens
