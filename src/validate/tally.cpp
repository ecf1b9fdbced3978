#include "validate/tally.h"

#include <algorithm>
#include <cmath>

namespace rhumb::validate {
namespace {

Tally tally_of(const std::vector<const ClipScore*>& scores) {
  Tally t;
  std::vector<double> errors;
  std::vector<double> halves;
  std::vector<double> rotations;
  std::vector<double> finals;
  int covered = 0;
  int within = 0;
  for (const ClipScore* s : scores) {
    ++t.clips;
    t.frames += s->frames;
    t.readable += s->readable;
    t.given += s->given;
    t.intervals += s->intervals;
    covered += s->covered;
    t.sure_wrong += s->sure_wrong;
    t.no_lens += s->no_lens;
    for (const double e : s->errors_deg) {
      errors.push_back(std::abs(e));
      within += std::abs(e) <= 1.0 ? 1 : 0;
    }
    for (const double e : s->rotation_errors_deg) rotations.push_back(std::abs(e));
    if (s->intervals > 0) halves.push_back(s->half_width_deg);
    t.finals_measurable += s->final_measurable ? 1 : 0;
    if (s->final_given) {
      ++t.finals_given;
      t.finals_covered += s->final_covered ? 1 : 0;
      finals.push_back(s->final_error_deg);
    }
  }
  const auto share = [](int a, int b) { return b > 0 ? static_cast<double>(a) / b : 0.0; };
  t.given_share = share(t.given, t.readable);
  t.within_1_share = share(within, t.readable);
  t.coverage = share(covered, t.intervals);
  t.error_median_deg = median(errors);
  t.error_p95_deg = quantile(errors, 0.95);
  t.error_max_deg = quantile(errors, 1.0);
  t.half_width_deg = median(halves);
  t.rotation_median_deg = median(rotations);
  t.final_median_deg = median(finals);
  t.final_max_deg = quantile(finals, 1.0);
  return t;
}

}  // namespace

std::vector<Tally> tally(const std::vector<ClipScore>& scores) {
  std::vector<Tally> out;
  std::vector<std::pair<std::string, double>> conditions;
  for (const ClipScore& s : scores)
    if (const std::pair key{s.group, s.level};
        std::find(conditions.begin(), conditions.end(), key) == conditions.end())
      conditions.push_back(key);
  for (const auto& [group, level] : conditions) {
    std::vector<const ClipScore*> chosen;
    for (const ClipScore& s : scores)
      if (s.group == group && s.level == level) chosen.push_back(&s);
    out.push_back(tally_of(chosen));
    out.back().group = group;
    out.back().unit = chosen.front()->unit;
    out.back().level = level;
  }
  std::vector<const ClipScore*> everything;
  for (const ClipScore& s : scores) everything.push_back(&s);
  out.push_back(tally_of(everything));
  out.back().group = "all";
  return out;
}

std::vector<CalibrationBin> calibration(const std::vector<ClipScore>& scores) {
  const std::vector<double> edges{0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 0.97, 1.0};
  std::vector<CalibrationBin> bins;
  for (std::size_t b = 0; b + 1 < edges.size(); ++b) {
    CalibrationBin bin{edges[b], edges[b + 1]};
    const bool last = b + 2 == edges.size();
    for (const ClipScore& s : scores)
      for (std::size_t i = 0; i < s.confidence.size(); ++i) {
        const double c = s.confidence[i];
        if (c < bin.low || (last ? c > bin.high : c >= bin.high)) continue;
        ++bin.count;
        bin.stated += c;
        bin.was += s.within_1[i];
      }
    if (bin.count == 0) continue;
    bin.stated /= bin.count;
    bin.was /= bin.count;
    bins.push_back(bin);
  }
  return bins;
}

std::vector<Limit> limits(const std::vector<Tally>& tallies) {
  std::vector<Limit> out;
  for (const Tally& t : tallies) {
    if (t.group == "all") continue;
    const auto known =
        std::find_if(out.begin(), out.end(), [&](const Limit& l) { return l.group == t.group; });
    Limit& limit =
        known != out.end() ? *known : out.emplace_back(Limit{t.group, t.unit, false, 0.0});
    if (t.readable == 0 || t.given_share >= 0.5) continue;
    // Contrast and resolution get worse downwards, everything else upwards: keep the mildest
    // failing level.
    const bool downwards = t.group == "contrast" || t.group == "resolution";
    if (!limit.reached || (downwards ? t.level > limit.level : t.level < limit.level))
      limit.level = t.level;
    limit.reached = true;
  }
  return out;
}

}  // namespace rhumb::validate
