// How far an axis is ahead of its rivals, on evidence made here.
#include "analyze/lead.h"

#include <catch2/catch.hpp>

using namespace rhumb;
using namespace rhumb::analyze;
using timeline::AxisEvidence;
using timeline::AxisPath;
using timeline::Phase;

namespace {

// `steps` steps of a new lens at 40 degrees with evidence 8 there, 7.5 on its shoulder and 5 at a
// rival's 60; then one step without a lens.
struct Made {
  AxisPath path;
  std::vector<AxisEvidence> previous, current;

  explicit Made(int steps) {
    for (int k = 0; k <= steps; ++k) {
      path.phase.push_back(k < steps ? Phase::New : Phase::None);
      path.axis_deg.push_back(k < steps ? 40 : -1);
      previous.emplace_back();
      AxisEvidence one;
      one.log_ratio.fill(-3.0F);
      one.log_ratio[40] = 8.0F;
      one.log_ratio[43] = 7.5F;
      one.log_ratio[60] = 5.0F;
      current.push_back(one);
    }
  }
  std::vector<float> lead() const { return leads(path, previous, current); }
};

}  // namespace

TEST_CASE("the lead is over another axis, not over the shoulder of its own, at any length") {
  for (const int steps : {1, 4, 50}) {
    const Made made(steps);
    const auto lead = made.lead();
    REQUIRE(lead.size() == static_cast<std::size_t>(steps) + 1);
    CHECK(lead.front() == Approx(3.0F));
    CHECK(lead[static_cast<std::size_t>(steps) - 1] == Approx(3.0F));
    CHECK(lead.back() == 0.0F);
  }
}

TEST_CASE("each stretch has its own lead; 179 and 1 degree are the same axis") {
  Made made(4);
  made.path.axis_deg = {179, 1, 100, 100, -1};
  for (AxisEvidence& one : made.current) {
    one.log_ratio.fill(0.0F);
    one.log_ratio[179] = 6.0F;
    one.log_ratio[100] = 2.0F;
  }
  const auto lead = made.lead();
  CHECK(lead[0] == Approx(4.0F));
  CHECK(lead[1] == Approx(4.0F));
  CHECK(lead[2] == Approx(-4.0F));
  CHECK(lead[3] == Approx(-4.0F));
}
