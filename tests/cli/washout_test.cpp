// A drawn case in which viscoelastic bends the line of sight until it is washed out: the intervals
// follow what the iris shows of it.
#include <algorithm>
#include <catch2/catch.hpp>

#include "cli/drawn.h"
#include "cli/program.h"

namespace {

// Half-widths in degrees before the aspirator comes and after it has gone: medians.
struct Halves {
  double before = 0.0;
  double after = 0.0;
};

double median(std::vector<double> values) {
  REQUIRE(values.size() > 10);
  std::nth_element(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2),
                   values.end());
  return values[values.size() / 2];
}

Halves half_widths(const std::string& viscoelastic_mm) {
  const TestFolder folder;
  const std::string scene = text_of(std::string(RHUMB_FIXTURES) + "/scenes/washout.toml");
  const DrawnCase made = read_drawn(
      folder, with(scene, "viscoelastic_mm = 0.03", "viscoelastic_mm = " + viscoelastic_mm),
      "960x540");
  const auto time = column(made.out + "/timeline.csv", 1);
  const auto low = column(made.out + "/timeline.csv", 8);
  const auto high = column(made.out + "/timeline.csv", 9);
  std::vector<double> before;
  std::vector<double> after;
  for (std::size_t k = 0; k < time.size(); ++k) {
    if (low[k].empty()) continue;
    const double half = 0.5 * (std::stod(high[k]) - std::stod(low[k]));
    const double at_s = std::stod(time[k]);
    if (at_s > 5.2 && at_s < 6.6) before.push_back(half);
    if (at_s > 11.6) after.push_back(half);
  }
  return {median(before), median(after)};
}

}  // namespace

TEST_CASE("intervals are as wide as the iris says that the sight is bent", "[long]") {
  const Halves faint = half_widths("0.05");
  const Halves strong = half_widths("0.2");
  CHECK(strong.before > 1.3 * faint.before);
  CHECK(strong.before > 1.2 * strong.after);
  CHECK(strong.after < 1.2 * faint.after);
}
