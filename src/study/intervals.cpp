// Rotation between visits, interval by interval.
#include <algorithm>
#include <cmath>
#include <map>

#include "statistics/proportion.h"
#include "statistics/summary.h"
#include "study/study.h"

namespace rhumb::study {
namespace {

struct Gathered {
  Interval interval;
  std::vector<double> days;
  double order = 0.0;  // place of the later visit, summed
  std::size_t first_seen = 0;
};

using Key = std::pair<bool, std::pair<std::string, std::string>>;

void add(std::map<Key, Gathered>& all, const EyeResult& eye, std::size_t from, std::size_t to,
         bool since_first) {
  const VisitResult& a = eye.visits[from];
  const VisitResult& b = eye.visits[to];
  Gathered& into = all[{since_first, {a.label, b.label}}];
  if (into.interval.eyes == 0) into.first_seen = all.size();
  into.interval.from = a.label;
  into.interval.to = b.label;
  into.interval.since_first = since_first;
  ++into.interval.eyes;
  into.order += static_cast<double>(to);
  if (const auto days = days_between(a.date, b.date)) into.days.push_back(*days);
  const auto& turn = since_first ? b.drift : b.step;
  if (!turn) return;
  into.interval.rotations_deg.push_back(turn->value);
  if (turn->low > 0) {
    ++into.interval.counter_clockwise;
  } else if (turn->high < 0) {
    ++into.interval.clockwise;
  } else {
    ++into.interval.undecided;
  }
}

void sum_up(Interval& interval) {
  std::vector<double> size;
  for (const double r : interval.rotations_deg) size.push_back(std::abs(r));
  interval.mean_absolute_deg = statistics::mean(size);
  interval.sd_absolute_deg = statistics::standard_deviation(size);
  interval.median_absolute_deg = statistics::median(size);
  interval.max_absolute_deg =
      size.empty() ? std::nan("") : *std::max_element(size.begin(), size.end());
  interval.mean_signed = statistics::mean_with_interval(interval.rotations_deg);
  interval.sd_signed_deg = statistics::standard_deviation(interval.rotations_deg);
  for (const double bound : bounds_deg) {
    const auto eyes = static_cast<std::size_t>(
        std::count_if(size.begin(), size.end(), [&](double s) { return s <= bound; }));
    interval.within.push_back({bound, eyes, statistics::clopper_pearson(eyes, size.size())});
  }
  interval.counter_clockwise_share = statistics::clopper_pearson(
      interval.counter_clockwise, interval.counter_clockwise + interval.clockwise);
}

}  // namespace

std::vector<Interval> intervals_of(const std::vector<EyeResult>& eyes) {
  std::map<Key, Gathered> all;
  for (const EyeResult& eye : eyes)
    for (std::size_t v = 1; v < eye.visits.size(); ++v) {
      add(all, eye, 0, v, true);
      add(all, eye, v - 1, v, false);
    }
  std::vector<Gathered> order;
  for (auto& [key, gathered] : all) order.push_back(std::move(gathered));
  // Since the first visit, then step by step; each in the order in which the visits mostly come.
  std::stable_sort(order.begin(), order.end(), [](const Gathered& a, const Gathered& b) {
    if (a.interval.since_first != b.interval.since_first) return a.interval.since_first;
    const double place_a = a.order / static_cast<double>(a.interval.eyes);
    const double place_b = b.order / static_cast<double>(b.interval.eyes);
    return place_a != place_b ? place_a < place_b : a.first_seen < b.first_seen;
  });
  std::vector<Interval> out;
  for (Gathered& gathered : order) {
    if (!gathered.days.empty()) gathered.interval.median_days = statistics::median(gathered.days);
    sum_up(gathered.interval);
    out.push_back(std::move(gathered.interval));
  }
  return out;
}

}  // namespace rhumb::study
