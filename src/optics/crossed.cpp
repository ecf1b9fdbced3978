#include "optics/crossed.h"

#include <cmath>
#include <vector>

#include "optics/worlds.h"

namespace rhumb::optics {

CrossedLenses crossed_lenses(std::span<const SphereCylinder> lenses, double se_D,
                             SphereCylinder (*form)(const PowerVector&)) {
  CrossedLenses result;
  for (const SphereCylinder& lens : lenses) result.sum = result.sum + vector_from(lens);
  result.lens = form(result.sum);
  // Independent errors add as squares.
  const double total_se_D = se_D * std::sqrt(static_cast<double>(lenses.size()));
  const auto rows = draw(uncertain_power(result.sum, total_se_D));
  const auto results = [&](auto of) {
    std::vector<double> values;
    values.reserve(rows.size());
    for (const auto& row : rows) values.push_back(of(PowerVector{row[0], row[1], row[2]}));
    return values;
  };
  result.m_D = summarise(results([](const PowerVector& p) { return p.m_D; }));
  result.j0_D = summarise(results([](const PowerVector& p) { return p.j0_D; }));
  result.j45_D = summarise(results([](const PowerVector& p) { return p.j45_D; }));
  result.sphere_D = summarise(results([&](const PowerVector& p) { return form(p).sphere_D; }));
  result.cylinder_D = summarise(results([&](const PowerVector& p) { return form(p).cylinder_D; }));
  result.axis_rad = summarise_axes(results([&](const PowerVector& p) { return form(p).axis_rad; }));
  return result;
}

}  // namespace rhumb::optics
