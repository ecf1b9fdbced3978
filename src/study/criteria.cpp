// The criteria of rotational stability of two standards. Neither text was at hand: both criteria
// are written from memory of papers and labels that cite them, which their words say.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "statistics/proportion.h"
#include "study/study.h"

namespace rhumb::study {
namespace {

constexpr int form_4_from_days = 120, form_4_to_days = 180;
constexpr int three_months_from_days = 60, three_months_to_days = 120;

void count(Demand& demand, const std::vector<double>& rotations) {
  demand.eyes = rotations.size();
  demand.passing =
      static_cast<std::size_t>(std::count_if(rotations.begin(), rotations.end(), [&](double r) {
        const double size = std::abs(r);
        return demand.bound_itself_passes ? size <= demand.bound_deg : size < demand.bound_deg;
      }));
  demand.share = statistics::clopper_pearson(demand.passing, demand.eyes);
}

std::string verdict_of(const Criterion& criterion, const std::string& nothing) {
  if (criterion.demands.front().eyes == 0) return "Cannot be checked: " + nothing + ".";
  bool met = true, surely = true, surely_not = false;
  std::string numbers;
  for (const Demand& d : criterion.demands) {
    met = met && d.share->value >= d.required;
    surely = surely && d.share->low >= d.required;
    surely_not = surely_not || d.share->high < d.required;
    numbers += fmt::format(
        "{}{} of {} eyes ({:.1f} %, 95 % interval {:.1f} to {:.1f} %) turned by {} {:g}\u00b0, "
        "required {:.0f} %",
        numbers.empty() ? "" : "; ", d.passing, d.eyes, 100 * d.share->value, 100 * d.share->low,
        100 * d.share->high, d.bound_itself_passes ? "at most" : "less than", d.bound_deg,
        100 * d.required);
  }
  const char* words =
      !met ? (surely_not ? "Not met" : "Not met in these eyes, though the intervals leave it open")
      : surely ? "Met, also at the lower end of the intervals"
               : "Met in these eyes, though the intervals reach below what is required";
  return fmt::format("{}: {}.", words, numbers);
}

// Rotation from the day of surgery to 120 to 180 days after it. One number an eye: the last visit
// in that window.
std::vector<double> from_surgery(const Table& table, const std::vector<EyeResult>& eyes) {
  std::vector<double> out;
  for (std::size_t i = 0; i < eyes.size(); ++i) {
    const auto& visits = eyes[i].visits;
    if (visits.empty()) continue;
    const std::string& surgery = table.eyes[i].surgery_date;
    const auto start = days_between(surgery, visits.front().date);
    if (!start || *start != 0) continue;
    std::optional<double> turn;
    for (const VisitResult& visit : visits) {
      const auto days = days_between(surgery, visit.date);
      if (days && *days >= form_4_from_days && *days <= form_4_to_days && visit.drift)
        turn = visit.drift->value;
    }
    if (turn) out.push_back(*turn);
  }
  return out;
}

// Between consecutive visits about three months apart; of several such pairs of an eye the largest.
std::vector<double> over_three_months(const std::vector<EyeResult>& eyes) {
  std::vector<double> out;
  for (const EyeResult& eye : eyes) {
    std::optional<double> turn;
    for (std::size_t v = 1; v < eye.visits.size(); ++v) {
      const auto days = days_between(eye.visits[v - 1].date, eye.visits[v].date);
      if (!days || *days < three_months_from_days || *days > three_months_to_days) continue;
      if (!eye.visits[v].step) continue;
      if (!turn || std::abs(eye.visits[v].step->value) > std::abs(*turn))
        turn = eye.visits[v].step->value;
    }
    if (turn) out.push_back(*turn);
  }
  return out;
}

}  // namespace

std::vector<Criterion> criteria_of(const Table& table, const std::vector<EyeResult>& eyes) {
  Criterion iso;
  iso.name = "ISO 11979-7";
  iso.text =
      "From the day of surgery to 120 to 180 days after it the lens turns by less than 10\u00b0 in "
      "at "
      "least 90 % of the eyes and by less than 20\u00b0 in at least 95 %. Written from memory of "
      "papers "
      "that cite the standard; check the wording in the standard before quoting it.";
  iso.over =
      "rotation since the first visit, where that was on the day of surgery (column surgery_date), "
      "to "
      "the last visit 120 to 180 days after surgery";
  iso.demands = {{10.0, false, 0.90, 0, 0, {}}, {20.0, false, 0.95, 0, 0, {}}};
  const auto long_term = from_surgery(table, eyes);
  for (Demand& d : iso.demands) count(d, long_term);
  iso.without = eyes.size() - long_term.size();
  iso.verdict = verdict_of(
      iso, "no eye has a readable visit on its surgery_date and one 120 to 180 days later");
  Criterion ansi;
  ansi.name = "ANSI Z80.30";
  ansi.text =
      "Between two consecutive visits about three months apart the axis changes by at most 5\u00b0 "
      "in at "
      "least 90 % of the eyes. Written from memory of device labels that cite the standard; check "
      "the "
      "wording in the standard before quoting it.";
  ansi.over =
      "rotation between consecutive visits 60 to 120 days apart (this program's reading of 'about "
      "three "
      "months'); of several such pairs of an eye the largest";
  ansi.demands = {{5.0, true, 0.90, 0, 0, {}}};
  const auto quarter = over_three_months(eyes);
  for (Demand& d : ansi.demands) count(d, quarter);
  ansi.without = eyes.size() - quarter.size();
  ansi.verdict =
      verdict_of(ansi, "no eye has readable consecutive visits 60 to 120 days apart, with dates");
  return {iso, ansi};
}

}  // namespace rhumb::study
