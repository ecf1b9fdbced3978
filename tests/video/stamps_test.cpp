// Repair of time stamps: invariants over random input, and worked sequences.
#include "video/stamps.h"

#include <rapidcheck.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <optional>
#include <vector>

namespace {

using Stamps = std::vector<std::optional<double>>;

std::vector<double> placed(const Stamps& stamps, double rate_hz, rhumb::video::StampClock& clock) {
  clock = rhumb::video::StampClock(rate_hz);
  std::vector<double> times;
  for (std::size_t i = 0; i < stamps.size(); ++i) {
    times.push_back(clock.place(stamps[i], i + 1 < stamps.size() ? stamps[i + 1] : std::nullopt));
  }
  return times;
}

}  // namespace

TEST_CASE("sound stamps pass unchanged, counted from the first") {
  rhumb::video::StampClock clock(25.0);
  const auto times = placed({10.0, 10.04, 10.08, 10.5, 10.54}, 25.0, clock);
  CHECK(times[3] == Approx(0.5).margin(1e-12));
  CHECK(clock.repaired() == 0);
  REQUIRE(clock.gaps().size() == 1);
  CHECK(clock.gaps()[0].start_s == Approx(0.08));
}

TEST_CASE("a repeated stamp goes half way to the next and does not shift those after it") {
  rhumb::video::StampClock clock(25.0);
  const auto times = placed({0.0, 0.04, 0.04, 0.08, 0.12}, 25.0, clock);
  CHECK(times[2] == Approx(0.06));
  CHECK(times[3] == Approx(0.08));
  CHECK(clock.repaired() == 1);
}

TEST_CASE("a repeated stamp that has no room before the next pushes that one on") {
  rhumb::video::StampClock clock(25.0);
  const auto times = placed({0.0, 0.04, 0.04, std::nextafter(0.04, 1.0), 0.2}, 25.0, clock);
  CHECK(times[2] == Approx(0.08));
  CHECK(times[3] > times[2]);
  CHECK(times[4] == Approx(0.2));
}

TEST_CASE("a missing stamp lies one interval on") {
  rhumb::video::StampClock clock(25.0);
  const auto times = placed({0.0, 0.04, std::nullopt, std::nullopt, 0.16}, 25.0, clock);
  CHECK(times[2] == Approx(0.08));
  CHECK(times[3] == Approx(0.12));
  CHECK(times[4] == Approx(0.16));
  CHECK(clock.missing() == 2);
}

TEST_CASE("one stamp that strays by an hour is put between its neighbours") {
  rhumb::video::StampClock clock(25.0);
  const auto times = placed({0.0, 0.04, 3600.08, 0.12, 0.16}, 25.0, clock);
  CHECK(times[2] == Approx(0.08));
  CHECK(times[4] == Approx(0.16));
  CHECK(clock.repaired() == 1);
  const auto back = placed({5000.0, 5000.04, 1400.08, 5000.12, 5000.16}, 25.0, clock);
  CHECK(back[2] == Approx(0.08));
  CHECK(back[4] == Approx(0.16));
}

TEST_CASE("a clock that is set back goes on where it was") {
  rhumb::video::StampClock clock(25.0);
  const auto times = placed({100.0, 100.04, 100.08, 0.0, 0.04, 0.08}, 25.0, clock);
  CHECK(times[3] == Approx(0.12));
  CHECK(times[5] == Approx(0.20));
  CHECK(clock.restarts() == 1);
}

TEST_CASE("times always grow, whatever the stamps") {
  const bool holds = rc::check("growing", [] {
    const auto raw = *rc::gen::container<std::vector<int>>(rc::gen::inRange(-3000, 3000));
    rhumb::video::StampClock clock(*rc::gen::element(0.0, 25.0, 60.0));
    std::vector<std::optional<double>> stamps;
    for (const int value : raw) {
      stamps.push_back(value % 7 == 0 ? std::nullopt : std::optional<double>(value * 0.01));
    }
    double last = -1.0;
    for (std::size_t i = 0; i < stamps.size(); ++i) {
      const double time =
          clock.place(stamps[i], i + 1 < stamps.size() ? stamps[i + 1] : std::nullopt);
      RC_ASSERT(i > 0 || time == 0.0);
      RC_ASSERT(time > last);
      last = time;
    }
  });
  CHECK(holds);
}
