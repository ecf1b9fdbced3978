// The program against people, and against itself.
#include <algorithm>
#include <cmath>

#include "statistics/axial.h"
#include "statistics/summary.h"
#include "study/study.h"

namespace rhumb::study {
namespace {

constexpr double deg_per_rad = 57.29577951308232;

// What the table has for a visit: its own row first, then the row that speaks for the whole eye
// where the eye has one visit after the first.
std::optional<double> reading_of(const TableEye& eye, const EyeResult& result, std::size_t visit,
                                 std::size_t reader, bool is_drift) {
  for (const VisitRemark& remark : eye.remarks)
    if (remark.visit == result.visits[visit].label) return remark.readings_deg[reader];
  // A drift without a visit is the one to the last visit; an axis without a visit means nothing.
  if (is_drift && visit + 1 == result.visits.size())
    for (const VisitRemark& remark : eye.remarks)
      if (remark.visit.empty()) return remark.readings_deg[reader];
  return std::nullopt;
}

Agreement& agreement_for(std::vector<Agreement>& all, const ReaderColumn& reader,
                         const std::string& visit) {
  const auto found = std::find_if(all.begin(), all.end(), [&](const Agreement& a) {
    return a.column == reader.name && a.visit == visit;
  });
  if (found != all.end()) return *found;
  Agreement fresh;
  fresh.reader = reader.reader;
  fresh.column = reader.name;
  fresh.visit = visit;
  fresh.is_drift = reader.is_drift;
  all.push_back(std::move(fresh));
  return all.back();
}

}  // namespace

double wrapped_deg(double deg) {
  double out = std::fmod(deg, 180.0);
  if (out <= -90.0) out += 180.0;
  if (out > 90.0) out -= 180.0;
  return out;
}

std::vector<Agreement> agreement_of(const Table& table, const std::vector<EyeResult>& eyes) {
  std::vector<Agreement> all;
  for (std::size_t r = 0; r < table.readers.size(); ++r)
    for (std::size_t i = 0; i < eyes.size(); ++i)
      for (std::size_t v = 0; v < eyes[i].visits.size(); ++v) {
        const ReaderColumn& reader = table.readers[r];
        const VisitResult& visit = eyes[i].visits[v];
        const auto& ours = reader.is_drift ? visit.drift : visit.axis;
        const auto theirs = reading_of(table.eyes[i], eyes[i], v, r, reader.is_drift);
        // Drift at the first visit is zero by definition and would flatter everybody.
        if (!ours || !theirs || (reader.is_drift && v == 0)) continue;
        const double difference = wrapped_deg(ours->value - *theirs);
        agreement_for(all, reader, visit.label)
            .points.push_back({eyes[i].id, wrapped_deg(*theirs + 0.5 * difference), difference});
      }
  for (Agreement& one : all) {
    std::vector<double> differences;
    for (AgreementPoint& point : one.points) {
      differences.push_back(point.difference_deg);
      if (!one.is_drift && point.mean_deg < 0) point.mean_deg += 180.0;
    }
    one.limits = statistics::bland_altman(differences);
  }
  return all;
}

Repeats repeats_of(const std::vector<EyeResult>& eyes) {
  Repeats out;
  std::vector<std::vector<double>> by_visit;
  for (const EyeResult& eye : eyes)
    for (const VisitResult& visit : eye.visits) {
      std::vector<double> axes_rad;
      for (const PhotographResult& photograph : visit.photographs)
        if (photograph.axis_deg) axes_rad.push_back(*photograph.axis_deg / deg_per_rad);
      if (axes_rad.size() < 2) continue;
      const double mean = statistics::axial_mean(axes_rad)->mean_rad * deg_per_rad;
      std::vector<double> about_mean;
      for (const double axis : axes_rad) {
        about_mean.push_back(wrapped_deg(axis * deg_per_rad - mean));
        out.points.push_back({eye.id, mean < 0 ? mean + 180.0 : mean, about_mean.back()});
      }
      ++out.visits;
      out.photographs += axes_rad.size();
      by_visit.push_back(std::move(about_mean));
    }
  out.result = statistics::repeatability(by_visit);
  return out;
}

Study sum_up(Table table, std::vector<EyeResult> eyes) {
  Study out;
  for (const EyeResult& eye : eyes)
    for (std::size_t v = 1; v < eye.visits.size(); ++v) {
      ++out.visits_after_first;
      out.rotations += eye.visits[v].drift ? 1U : 0U;
    }
  out.intervals = intervals_of(eyes);
  out.criteria = criteria_of(table, eyes);
  out.agreement = agreement_of(table, eyes);
  out.repeats = repeats_of(eyes);
  out.table = std::move(table);
  out.eyes = std::move(eyes);
  return out;
}

}  // namespace rhumb::study
