#include "grade/tables.h"

#include <cmath>

#include "grade/table_columns.h"

namespace rhumb::grade {
namespace {

struct StatisticRow {
  std::string comparison, statistic;
  std::size_t n = 0;
  statistics::Estimate estimate;
};

Columns<StatisticRow> agreement_columns() {
  return {
      {"comparison", "", "who is compared; 'rhumb' is the program",
       [](const StatisticRow& r) { return r.comparison; }},
      {"statistic", "", "with its form named", [](const StatisticRow& r) { return r.statistic; }},
      {"n", "", "cases", [](const StatisticRow& r) { return fmt::format("{}", r.n); }},
      {"value", "degree; ICC none", "estimate",
       [](const StatisticRow& r) { return number_text(r.estimate.value); }},
      {"low", "degree; ICC none", "95 % interval",
       [](const StatisticRow& r) { return number_text(r.estimate.low); }},
      {"high", "degree; ICC none", "95 % interval",
       [](const StatisticRow& r) { return number_text(r.estimate.high); }},
  };
}

void add_limits(const PairAgreement& pair, std::vector<StatisticRow>& rows) {
  if (!pair.limits) return;
  const auto& l = *pair.limits;
  const std::string who = pair.first + " - " + pair.second;
  rows.push_back({who, "Bland-Altman bias", l.n, l.bias});
  rows.push_back({who, "Bland-Altman lower limit", l.n, l.lower_limit});
  rows.push_back({who, "Bland-Altman upper limit", l.n, l.upper_limit});
}

void add_icc(const GroupAgreement& group, std::vector<StatisticRow>& rows) {
  if (!group.icc) return;
  std::string who;
  for (const auto& r : group.readers) who += (who.empty() ? "" : ", ") + r;
  const auto& i = *group.icc;
  rows.push_back({who, "ICC(1,1)", group.cases, i.icc_1_1});
  rows.push_back({who, "ICC(2,1)", group.cases, i.icc_2_1});
  rows.push_back({who, "ICC(3,1)", group.cases, i.icc_3_1});
  rows.push_back({who, "ICC(1,k)", group.cases, i.icc_1_k});
  rows.push_back({who, "ICC(2,k)", group.cases, i.icc_2_k});
  rows.push_back({who, "ICC(3,k)", group.cases, i.icc_3_k});
}

std::vector<StatisticRow> agreement_rows(const Programme& programme) {
  std::vector<StatisticRow> rows;
  if (!programme.agreement) return rows;
  for (const auto& pair : programme.agreement->pairs) add_limits(pair, rows);
  for (const auto& group : programme.agreement->groups) add_icc(group, rows);
  for (const auto& reader : programme.agreement->repeatability) {
    if (!reader.result) continue;
    rows.push_back(
        {reader.reader, "within-subject SD", reader.result->subjects, reader.result->within_sd});
    rows.push_back({reader.reader, "repeatability coefficient", reader.result->subjects,
                    reader.result->coefficient});
  }
  return rows;
}

const OperatorComparison* compared(const Programme& programme, const std::string& code) {
  for (const auto& one : programme.comparison.operators_compared) {
    if (one.code == code && !code.empty()) return &one;
  }
  return nullptr;
}

}  // namespace

double rounded(double value) {
  const double r = std::round(value * 1e6) / 1e6;
  return r == 0.0 ? 0.0 : r;
}

std::string cases_csv(const Programme& programme) {
  const auto columns = case_columns(programme);
  std::string out;
  append_header(columns, out);
  for (const GradedCase& c : programme.cases) append_row(columns, c, out);
  return out;
}

std::string operators_csv(const Programme& programme) {
  const auto columns = operator_columns(programme);
  std::string out;
  append_header(columns, out);
  for (const OperatorSummary& s : programme.operators) {
    append_row(columns, OperatorRow{&s, compared(programme, s.code), false}, out);
  }
  if (programme.only_operator.empty()) {
    append_row(columns, OperatorRow{&programme.everyone, nullptr, true}, out);
  }
  return out;
}

std::string learning_csv(const Programme& programme) {
  const auto columns = learning_columns();
  std::string out;
  append_header(columns, out);
  for (const OperatorSummary& s : programme.operators) {
    for (const LearningPoint& p : s.learning) append_row(columns, LearningRow{&s.code, &p}, out);
  }
  return out;
}

std::string agreement_csv(const Programme& programme) {
  const auto columns = agreement_columns();
  std::string out;
  append_header(columns, out);
  for (const StatisticRow& r : agreement_rows(programme)) append_row(columns, r, out);
  return out;
}

std::string columns_csv(const Programme& programme) {
  std::string out = "file,column,unit,meaning\n";
  append_meanings("cases.csv", case_columns(programme), out);
  append_meanings("operators.csv", operator_columns(programme), out);
  append_meanings("learning.csv", learning_columns(), out);
  append_meanings("agreement.csv", agreement_columns(), out);
  return out;
}

}  // namespace rhumb::grade
