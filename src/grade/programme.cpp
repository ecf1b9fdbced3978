#include "grade/programme.h"

#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <map>
#include <thread>

#include "files/user_error.h"

namespace rhumb::grade {
namespace {

constexpr const char* page_name = "report.html";

std::string link_to_page(const std::filesystem::path& folder, const std::filesystem::path& out) {
  std::error_code error;
  const auto page = folder / page_name;
  if (!std::filesystem::is_regular_file(page, error)) return {};
  const auto relative = std::filesystem::proximate(page, out, error);
  return error ? std::string() : relative.generic_string();
}

OperatorSummary of_everyone(const std::vector<GradedCase>& cases, const Rubric& rubric,
                            const CusumLimits& limits) {
  std::vector<const GradedCase*> all;
  all.reserve(cases.size());
  for (const GradedCase& c : cases) all.push_back(&c);
  OperatorSummary summary = summarise("", std::move(all), rubric, limits);
  // Case numbers are counted by operator: a curve over all of them would mean nothing.
  summary.learning.clear();
  summary.change_per_10_cases_deg.reset();
  summary.cusum_accepted.reset();
  summary.cusum_rejected.reset();
  return summary;
}

}  // namespace

std::vector<CaseReading> read_outcomes(const Cohort& cohort,
                                       const std::vector<std::string>& failures, unsigned threads) {
  std::vector<CaseReading> readings(cohort.rows.size());
  std::atomic<std::size_t> next{0};
  const auto work = [&] {
    for (std::size_t i = next++; i < readings.size(); i = next++) {
      if (i < failures.size() && !failures[i].empty()) {
        readings[i].not_graded = NotGraded::Missing;
        readings[i].reason = "the analysis failed: " + one_line(failures[i]);
      } else {
        readings[i] = read_outcome(cohort.rows[i].outcome);
      }
    }
  };
  const unsigned wanted = threads == 0 ? std::thread::hardware_concurrency() : threads;
  std::vector<std::thread> pool;
  for (unsigned i = 1; i < std::clamp(wanted, 1U, 64U); ++i) pool.emplace_back(work);
  work();
  for (std::thread& t : pool) t.join();
  return readings;
}

Programme grade_programme(const Cohort& cohort, std::vector<CaseReading> readings,
                          const Rubric& rubric, const std::vector<HumanReading>* human,
                          const std::filesystem::path& human_file,
                          const std::filesystem::path& out) {
  Programme programme;
  programme.cohort_file = cohort.file.filename().string();
  programme.covariates = cohort.covariates;
  programme.rubric = rubric;
  programme.limits = cusum_limits(rubric);
  for (std::size_t i = 0; i < cohort.rows.size(); ++i) {
    programme.cases.push_back(grade_case(cohort.rows[i], std::move(readings[i]), rubric));
    programme.cases.back().page = link_to_page(cohort.rows[i].outcome, out);
  }
  number_cases(programme.cases);
  mark_outliers(programme.cases, rubric);
  std::map<std::string, std::vector<const GradedCase*>> by_operator;
  for (const GradedCase& c : programme.cases) by_operator[c.reading.operator_code].push_back(&c);
  for (auto& [code, cases] : by_operator) {
    programme.operators.push_back(summarise(code, std::move(cases), rubric, programme.limits));
  }
  programme.everyone = of_everyone(programme.cases, rubric, programme.limits);
  programme.comparison = compare_operators(programme.cases, cohort.covariates, rubric);
  if (human != nullptr) programme.agreement = agreement_of(*human, programme.cases, human_file);
  return programme;
}

Programme for_operator(const Programme& programme, const std::string& code) {
  Programme own = programme;
  own.only_operator = code;
  const auto is_other_case = [&](const GradedCase& c) { return c.reading.operator_code != code; };
  own.cases.erase(std::remove_if(own.cases.begin(), own.cases.end(), is_other_case),
                  own.cases.end());
  if (own.cases.empty() || code.empty()) {
    throw UserError(programme.cohort_file, "column operator",
                    fmt::format("no case of operator '{}'", one_line(code, 60)), "check the code");
  }
  const auto is_other = [&](const auto& entry) { return entry.code != code; };
  own.operators.erase(std::remove_if(own.operators.begin(), own.operators.end(), is_other),
                      own.operators.end());
  auto& compared = own.comparison.operators_compared;
  compared.erase(std::remove_if(compared.begin(), compared.end(), is_other), compared.end());
  constexpr std::size_t least_others = 3;
  if (own.comparison.operators < least_others + 1) own.comparison.programme_deg.reset();
  own.everyone = own.operators.front();
  own.agreement.reset();
  return own;
}

}  // namespace rhumb::grade
