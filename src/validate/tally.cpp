#include "validate/tally.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <tuple>

namespace rhumb::validate {
namespace {

double share(int a, int b) { return b > 0 ? static_cast<double>(a) / b : 0.0; }

struct Pool {
  std::vector<double> errors, halves, rotations, finals;
  int covered = 0;
  int covered_half = 0;
  int within = 0;
};

void add(const ClipScore& s, Tally& t, Pool& pool) {
  ++t.clips;
  t.names.push_back(s.clip);
  t.frames += s.frames;
  t.readable += s.readable;
  t.given += s.given;
  t.intervals += s.intervals;
  pool.covered += s.covered;
  pool.covered_half += s.covered_half;
  t.sure_wrong += s.sure_wrong;
  t.no_lens += s.no_lens;
  for (const double e : s.errors_deg) {
    pool.errors.push_back(std::abs(e));
    pool.within += std::abs(e) <= 1.0 ? 1 : 0;
  }
  for (const double e : s.rotation_errors_deg) pool.rotations.push_back(std::abs(e));
  if (s.intervals > 0) pool.halves.push_back(s.half_width_deg);
  t.finals_measurable += s.final_measurable ? 1 : 0;
  t.finals_given += s.final_given && s.final_measurable ? 1 : 0;
  t.finals_covered += s.final_given && s.final_measurable && s.final_covered ? 1 : 0;
  t.finals_false += s.final_false ? 1 : 0;
  if (s.final_error_deg) pool.finals.push_back(*s.final_error_deg);
}

Tally tally_of(const std::vector<const ClipScore*>& scores) {
  Tally t;
  Pool pool;
  for (const ClipScore* s : scores) add(*s, t, pool);
  t.given_share = share(t.given, t.readable);
  t.within_1_share = share(pool.within, t.readable);
  t.coverage = share(pool.covered, t.intervals);
  t.coverage_half = share(pool.covered_half, t.intervals);
  t.error_median_deg = median(pool.errors);
  t.error_p95_deg = quantile(pool.errors, 0.95);
  t.error_max_deg = quantile(pool.errors, 1.0);
  t.half_width_deg = median(pool.halves);
  t.rotation_median_deg = median(pool.rotations);
  t.rotation_p95_deg = quantile(pool.rotations, 0.95);
  t.final_median_deg = median(pool.finals);
  t.final_max_deg = quantile(pool.finals, 1.0);
  t.calibration_error = expected_calibration_error(calibration(scores));
  return t;
}

}  // namespace

std::vector<Tally> tally(const std::vector<ClipScore>& scores) {
  std::vector<std::string> groups;
  std::vector<Condition> conditions;
  for (const ClipScore& s : scores)
    for (const Condition& c : s.conditions) {
      if (std::find(groups.begin(), groups.end(), c.group) == groups.end())
        groups.push_back(c.group);
      if (std::none_of(conditions.begin(), conditions.end(),
                       [&](const Condition& known) { return known.same_as(c); }))
        conditions.push_back(c);
    }
  std::vector<Tally> out;
  for (const std::string& group : groups) {
    std::vector<Condition> levels;
    for (const Condition& c : conditions)
      if (c.group == group) levels.push_back(c);
    std::stable_sort(levels.begin(), levels.end(),
                     [](const Condition& a, const Condition& b) { return a.level < b.level; });
    // Of contrast and resolution more is milder.
    if (group == "contrast" || group == "resolution") std::reverse(levels.begin(), levels.end());
    for (const Condition& level : levels) {
      std::vector<const ClipScore*> chosen;
      for (const ClipScore& s : scores)
        if (std::any_of(s.conditions.begin(), s.conditions.end(),
                        [&](const Condition& c) { return c.same_as(level); }))
          chosen.push_back(&s);
      out.push_back(tally_of(chosen));
      out.back().condition = level;
    }
  }
  std::vector<const ClipScore*> everything;
  for (const ClipScore& s : scores) everything.push_back(&s);
  out.push_back(tally_of(everything));
  out.back().condition.group = "all";
  return out;
}

std::vector<CalibrationBin> calibration(const std::vector<const ClipScore*>& scores) {
  constexpr int count = 10;
  std::array<CalibrationBin, count> bins;
  for (int b = 0; b < count; ++b) {
    bins[static_cast<std::size_t>(b)].low = b / 10.0;
    bins[static_cast<std::size_t>(b)].high = (b + 1) / 10.0;
  }
  for (const ClipScore* s : scores)
    for (std::size_t i = 0; i < s->confidence.size(); ++i) {
      const double c = s->confidence[i];
      auto& bin = bins[static_cast<std::size_t>(std::clamp(static_cast<int>(c * count), 0, 9))];
      ++bin.count;
      bin.stated += c;
      bin.was += s->within_1[i];
    }
  std::vector<CalibrationBin> filled;
  for (CalibrationBin& bin : bins) {
    if (bin.count == 0) continue;
    bin.stated /= bin.count;
    bin.was /= bin.count;
    filled.push_back(bin);
  }
  return filled;
}

double expected_calibration_error(const std::vector<CalibrationBin>& bins) {
  double sum = 0.0;
  int count = 0;
  for (const CalibrationBin& b : bins) {
    sum += b.count * std::abs(b.stated - b.was);
    count += b.count;
  }
  return count > 0 ? sum / count : 0.0;
}

std::vector<Limit> limits(const std::vector<Tally>& tallies) {
  std::vector<Limit> out;
  for (const Tally& t : tallies) {
    const std::string& group = t.condition.group;
    // Kinds of reference and of trouble have no order: each speaks for itself in its own table.
    if (group == "all" || group == "reference" || group == "scenario") continue;
    if (out.empty() || out.back().group != group) out.push_back({group, false, "", 0});
    if (out.back().reached || t.readable == 0 || t.given_share >= 0.5) continue;
    out.back() = {group, true, t.condition.label, t.clips};
  }
  return out;
}

std::vector<const ClipScore*> worst_clips(const std::vector<ClipScore>& scores, std::size_t count) {
  std::vector<const ClipScore*> order;
  for (const ClipScore& s : scores) order.push_back(&s);
  const auto badness = [](const ClipScore* s) {
    std::vector<double> errors;
    for (const double e : s->errors_deg) errors.push_back(std::abs(e));
    return std::tuple(s->final_false, s->final_measurable && !s->final_given,
                      s->final_error_deg.value_or(0.0), quantile(errors, 0.95));
  };
  std::stable_sort(order.begin(), order.end(),
                   [&](const ClipScore* a, const ClipScore* b) { return badness(a) > badness(b); });
  order.resize(std::min(count, order.size()));
  return order;
}

}  // namespace rhumb::validate
