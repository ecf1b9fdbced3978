#include "analyze/chamber.h"

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "analyze/parallel.h"
#include "analyze/quantile.h"

namespace rhumb::analyze {
namespace {

constexpr double frame_share = 0.19;  // of an entry: five frames, or all of a slower recording
constexpr std::size_t most_entries = 2048;  // even; 13 minutes, then half of them are left

// Point by point. An instrument that passes is left out.
cv::Mat1b median_of(const std::vector<cv::Mat1b>& strips) {
  cv::Mat1b out(strips.front().size());
  std::vector<std::uint8_t> values(strips.size());
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  for (int row = 0; row < out.rows; ++row) {
    for (int col = 0; col < out.cols; ++col) {
      for (std::size_t k = 0; k < strips.size(); ++k) values[k] = strips[k](row, col);
      std::nth_element(values.begin(), middle, values.end());
      out(row, col) = *middle;
    }
  }
  return out;
}

}  // namespace

void IrisLog::add(const video::Frame& frame, const eye::EyePose& pose) {
  if (!waiting_.empty() && frame.time_s >= start_s_ + entry_s_) finish();
  if (!pose.found || frame.time_s < last_s_ + frame_share * entry_s_) return;
  if (waiting_.empty()) start_s_ = frame.time_s;
  waiting_.push_back(eye::iris_strip(frame.luma, pose));
  last_s_ = frame.time_s;
}

void IrisLog::finish() {
  if (!waiting_.empty()) entries_.push_back({start_s_, last_s_, median_of(waiting_)});
  waiting_.clear();
  if (entries_.size() < most_entries) return;
  for (std::size_t k = 1; 2 * k < entries_.size(); ++k) entries_[k] = std::move(entries_[2 * k]);
  entries_.resize(entries_.size() / 2);
  entry_s_ *= 2.0;
}

std::optional<double> ChamberReading::at(double now_s) const {
  std::optional<double> bent;
  const auto after = std::lower_bound(time_s.begin(), time_s.end(), now_s);
  const auto next = static_cast<std::size_t>(after - time_s.begin());
  const auto look_at = [&](std::size_t k) {
    if (std::abs(time_s[k] - now_s) <= reach_s) bent = std::max(bent.value_or(0.0), bending[k]);
  };
  if (next > 0) look_at(next - 1);
  if (next < time_s.size()) look_at(next);
  return bent;
}

ChamberReading read_chamber(std::span<const IrisLog::Entry> iris, double settled_from_s,
                            int threads) {
  constexpr std::size_t fewest_settled = 2;
  constexpr std::size_t most_settled = 12;
  // Between what registration and noise leave (0.0002 to 0.0005) and what is seen while
  // viscoelastic is in the eye (0.0007 to 0.006).
  constexpr double least_change = 0.0007;
  std::vector<cv::Mat1b> settled;
  for (const IrisLog::Entry& entry : iris)
    if (entry.start_s >= settled_from_s) settled.push_back(entry.strip);
  if (settled.size() < fewest_settled) return {};
  const std::size_t stride = (settled.size() + most_settled - 1) / most_settled;
  std::vector<cv::Mat1b> some;
  for (std::size_t k = 0; k < settled.size(); k += stride) some.push_back(settled[k]);
  const cv::Mat1b reference = median_of(some);

  std::vector<std::optional<double>> bent(iris.size());
  for_each_index(iris.size(), threads,
                 [&](std::size_t k) { bent[k] = eye::bending(iris[k].strip, reference); });
  ChamberReading reading;
  // Entries of a long recording lie further apart.
  const double span_s = iris.back().start_s - iris.front().start_s;
  reading.reach_s = std::max(reading.reach_s, 2.0 * span_s / static_cast<double>(iris.size()));
  std::vector<double> own_noise;
  for (std::size_t k = 0; k < iris.size(); ++k) {
    if (!bent[k]) continue;
    reading.time_s.push_back(0.5 * (iris[k].start_s + iris[k].end_s));
    reading.bending.push_back(*bent[k]);
    if (iris[k].start_s >= settled_from_s) own_noise.push_back(*bent[k]);
  }
  if (own_noise.empty()) return {};
  const double noise = quantile(own_noise, 0.5, 0.0);
  for (double& one : reading.bending) one = std::sqrt(std::max(0.0, one * one - noise * noise));
  if (quantile(reading.bending, 0.9, 0.0) < least_change) return {};
  return reading;
}

}  // namespace rhumb::analyze
