// Lists sorted side by side against the standard library's sort of each.
#include "lens/side_by_side.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <limits>
#include <random>
#include <vector>

using rhumb::lens::Lanes;
using rhumb::lens::lanes;

TEST_CASE("lists sorted side by side are each sorted", "[lens]") {
  std::mt19937 random(7);
  std::uniform_int_distribution<int> few(-4, 4);  // many are equal
  for (std::size_t length = 0; length <= 70; ++length) {
    CAPTURE(length);
    std::vector<Lanes> values(length);
    std::vector<std::vector<float>> expected(lanes);
    for (Lanes& one : values) {
      for (std::size_t lane = 0; lane < lanes; ++lane) {
        const int drawn = few(random);
        one[lane] = drawn == 4 ? std::numeric_limits<float>::infinity() : static_cast<float>(drawn);
        expected[lane].push_back(one[lane]);
      }
    }
    rhumb::lens::sort_side_by_side(values);
    for (std::size_t lane = 0; lane < lanes; ++lane) {
      std::sort(expected[lane].begin(), expected[lane].end());
      for (std::size_t k = 0; k < length; ++k) CHECK(values[k][lane] == expected[lane][k]);
    }
  }
}
