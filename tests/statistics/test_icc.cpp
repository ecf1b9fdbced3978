// Shrout and Fleiss 1979, table 2 (data from memory; they reproduce the six published values), and
// psych::ICC(x, lmer = FALSE) of R 4.2.2, psych 2.2.9, on the same matrix.
#include <catch2/catch.hpp>
#include <vector>

#include "statistics/icc.h"

using namespace rhumb::statistics;

namespace {

const std::vector<double> published = {9, 2, 5, 8, 6,  1, 3, 2, 8, 4, 6, 8,
                                       7, 1, 2, 6, 10, 5, 6, 9, 6, 2, 4, 7};

void agrees(const Estimate& got, double value, double low, double high) {
  CHECK(got.value == Approx(value).epsilon(1e-8));
  CHECK(got.low == Approx(low).epsilon(1e-8));
  CHECK(got.high == Approx(high).epsilon(1e-8));
}

}  // namespace

TEST_CASE("Shrout and Fleiss 1979: the published values", "[statistics]") {
  const auto r = intraclass_correlation(published, 4);
  REQUIRE(r);
  CHECK(r->mean_square_subjects == Approx(11.2417).margin(5e-5));
  CHECK(r->mean_square_within == Approx(6.2639).margin(5e-5));
  CHECK(r->mean_square_readers == Approx(32.4861).margin(5e-5));
  CHECK(r->mean_square_error == Approx(1.0194).margin(5e-5));
  CHECK(r->icc_1_1.value == Approx(0.17).margin(5e-3));
  CHECK(r->icc_2_1.value == Approx(0.29).margin(5e-3));
  CHECK(r->icc_3_1.value == Approx(0.71).margin(5e-3));
  CHECK(r->icc_1_k.value == Approx(0.44).margin(5e-3));
  CHECK(r->icc_2_k.value == Approx(0.62).margin(5e-3));
  CHECK(r->icc_3_k.value == Approx(0.91).margin(5e-3));
}

TEST_CASE("all six forms and their intervals agree with R's psych", "[statistics]") {
  const auto r = intraclass_correlation(published, 4);
  REQUIRE(r);
  agrees(r->icc_1_1, 0.165741768405, -0.1329323248748, 0.722560062328);
  agrees(r->icc_2_1, 0.289763779528, 0.0187865133747, 0.761084369649);
  agrees(r->icc_3_1, 0.714840714841, 0.3424647650339, 0.945858259955);
  agrees(r->icc_1_k, 0.442797133679, -0.8844421552381, 0.912415420341);
  agrees(r->icc_2_k, 0.620050547599, 0.0711368153025, 0.927232040168);
  agrees(r->icc_3_k, 0.909315542377, 0.6756747138163, 0.985891678169);
}

TEST_CASE("an ICC that cannot be had is not given", "[statistics]") {
  CHECK_FALSE(intraclass_correlation(std::vector<double>{1, 2, 3, 4}, 2));           // two subjects
  CHECK_FALSE(intraclass_correlation(std::vector<double>{1, 2, 3}, 1));              // one reader
  CHECK_FALSE(intraclass_correlation(std::vector<double>{1, 2, 3, 4, 5, 6, 7}, 2));  // a hole
  CHECK_FALSE(intraclass_correlation(std::vector<double>(12, 4.0), 3));              // no spread
}
