#include "statistics/icc.h"

#include <cmath>
#include <vector>

#include "statistics/distributions.h"
#include "statistics/summary.h"

namespace rhumb::statistics {
namespace {

struct Table {
  std::span<const double> cells;
  std::size_t n = 0;  // subjects
  std::size_t k = 0;  // readers
  double at(std::size_t i, std::size_t j) const { return cells[i * k + j]; }
};

void mean_squares(const Table& t, IntraclassCorrelation& into) {
  const double grand = mean(t.cells);
  const auto n = static_cast<double>(t.n);
  const auto k = static_cast<double>(t.k);
  double between = 0.0;
  double total = 0.0;
  double readers = 0.0;
  for (std::size_t i = 0; i < t.n; ++i) {
    const double centre = mean(t.cells.subspan(i * t.k, t.k));
    between += k * (centre - grand) * (centre - grand);
    for (std::size_t j = 0; j < t.k; ++j) total += (t.at(i, j) - grand) * (t.at(i, j) - grand);
  }
  for (std::size_t j = 0; j < t.k; ++j) {
    double sum = 0.0;
    for (std::size_t i = 0; i < t.n; ++i) sum += t.at(i, j);
    readers += n * (sum / n - grand) * (sum / n - grand);
  }
  into.mean_square_subjects = between / (n - 1.0);
  into.mean_square_within = (total - between) / (n * (k - 1.0));
  into.mean_square_readers = readers / (k - 1.0);
  into.mean_square_error = std::max(0.0, total - between - readers) / ((n - 1.0) * (k - 1.0));
}

// Forms 1 and 3: F = MSB / `error` on n - 1 and `error_freedom`, for one reading and for the mean
// of k.
void consistency_forms(const IntraclassCorrelation& r, double error, double error_freedom,
                       double tail, Estimate& single, Estimate& average) {
  const auto k = static_cast<double>(r.readers);
  const double subject_freedom = static_cast<double>(r.subjects) - 1.0;
  const double f = r.mean_square_subjects / error;
  const double f_low = f / f_quantile(1.0 - tail, subject_freedom, error_freedom);
  const double f_high = f * f_quantile(1.0 - tail, error_freedom, subject_freedom);
  const auto one = [k](double ratio) { return (ratio - 1.0) / (ratio + k - 1.0); };
  const auto many = [](double ratio) { return 1.0 - 1.0 / ratio; };
  single = {one(f), one(f_low), one(f_high)};
  average = {many(f), many(f_low), many(f_high)};
}

// Form 2, whose interval rests on Satterthwaite's degrees of freedom.
void agreement_form(IntraclassCorrelation& r, double tail) {
  const auto n = static_cast<double>(r.subjects);
  const auto k = static_cast<double>(r.readers);
  const double msb = r.mean_square_subjects;
  const double msj = r.mean_square_readers;
  const double mse = r.mean_square_error;
  const double icc = (msb - mse) / (msb + (k - 1.0) * mse + k * (msj - mse) / n);
  const double reader_part = k * icc * msj / mse;
  const double rest = n * (1.0 + (k - 1.0) * icc) - k * icc;
  const double freedom = (k - 1.0) * (n - 1.0) * std::pow(reader_part + rest, 2) /
                         ((n - 1.0) * std::pow(reader_part, 2) + std::pow(rest, 2));
  const double f_low = f_quantile(1.0 - tail, n - 1.0, freedom);
  const double f_high = f_quantile(1.0 - tail, freedom, n - 1.0);
  const double spread = k * msj + (k * n - k - n) * mse;
  const double low = n * (msb - f_low * mse) / (f_low * spread + n * msb);
  const double high = n * (f_high * msb - mse) / (spread + n * f_high * msb);
  const auto of_mean = [k](double single) { return k * single / (1.0 + (k - 1.0) * single); };
  r.icc_2_1 = {icc, low, high};
  r.icc_2_k = {of_mean(icc), of_mean(low), of_mean(high)};
}

}  // namespace

std::optional<IntraclassCorrelation> intraclass_correlation(std::span<const double> readings,
                                                            std::size_t readers, double level) {
  if (readers < 2 || readings.size() % readers != 0 || readings.size() / readers < 3) {
    return std::nullopt;
  }
  const Table table{readings, readings.size() / readers, readers};
  IntraclassCorrelation result;
  result.subjects = table.n;
  result.readers = table.k;
  mean_squares(table, result);
  if (!(result.mean_square_within > 0.0) || !(result.mean_square_error > 0.0)) return std::nullopt;
  const double tail = (1.0 - level) / 2.0;
  const auto n = static_cast<double>(table.n);
  const auto k = static_cast<double>(table.k);
  consistency_forms(result, result.mean_square_within, n * (k - 1.0), tail, result.icc_1_1,
                    result.icc_1_k);
  consistency_forms(result, result.mean_square_error, (n - 1.0) * (k - 1.0), tail, result.icc_3_1,
                    result.icc_3_k);
  agreement_form(result, tail);
  return result;
}

}  // namespace rhumb::statistics
