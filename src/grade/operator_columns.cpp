#include "grade/table_columns.h"

namespace rhumb::grade {
namespace {

using Row = OperatorRow;
using Text = std::function<std::string(const Row&)>;

Text number(std::function<std::optional<double>(const OperatorSummary&)> get) {
  return [get = std::move(get)](const Row& r) { return number_text(get(*r.summary)); };
}

Text bound(std::optional<Estimate> OperatorSummary::*which, double Estimate::*part) {
  return [=](const Row& r) {
    const auto& e = r.summary->*which;
    return e ? number_text((*e).*part) : std::string();
  };
}

void add_interval(Columns<Row>& columns, const std::string& stem, const std::string& meaning,
                  std::optional<Estimate> OperatorSummary::*which) {
  columns.push_back(
      {stem + "_low_deg", "degree", "95 % interval of " + meaning, bound(which, &Estimate::low)});
  columns.push_back(
      {stem + "_high_deg", "degree", "95 % interval of " + meaning, bound(which, &Estimate::high)});
}

void add_counts(const Rubric& rubric, Columns<Row>& columns) {
  columns.push_back(
      {"operator", "", "code; 'all' for every case of the table, empty where nobody is stated",
       [](const Row& r) { return r.is_everyone ? std::string("all") : r.summary->code; }});
  const auto count = [&](const char* name, const char* meaning, auto get) {
    columns.push_back(
        {name, "", meaning, [get](const Row& r) { return fmt::format("{}", get(*r.summary)); }});
  };
  count("cases", "rows of the table", [](const OperatorSummary& s) { return s.cases; });
  count("graded", "of these", [](const OperatorSummary& s) { return s.graded; });
  count("not_graded", "the rest: no fail, see the reasons in cases.csv",
        [](const OperatorSummary& s) { return s.cases - s.graded; });
  columns.push_back(
      {"first_date", "", "ISO 8601", [](const Row& r) { return r.summary->first_date; }});
  columns.push_back(
      {"last_date", "", "ISO 8601", [](const Row& r) { return r.summary->last_date; }});
  for (std::size_t i = 0; i < rubric.levels.size(); ++i) {
    columns.push_back({fmt::format("level_{}", i + 1), "",
                       fmt::format("graded cases at level '{}'", rubric.levels[i].name),
                       [i](const Row& r) { return fmt::format("{}", r.summary->per_level[i]); }});
  }
}

void add_accuracy(Columns<Row>& columns) {
  columns.push_back({"mean_absolute_deg", "degree", "mean size of the deviation",
                     number([](const auto& s) { return s.mean_absolute_deg; })});
  add_interval(columns, "mean_absolute", "it (Student's t, not below 0)",
               &OperatorSummary::absolute_interval);
  columns.push_back({"median_absolute_deg", "degree", "median size of the deviation",
                     number([](const auto& s) { return s.median_absolute_deg; })});
  columns.push_back({"mean_signed_deg", "degree",
                     "axial mean of the deviation, counter-clockwise positive",
                     number([](const auto& s) { return s.mean_signed_deg; })});
  add_interval(columns, "mean_signed", "it (Fisher's, with t)", &OperatorSummary::signed_interval);
  columns.push_back({"sd_signed_deg", "degree", "circular SD of the deviation",
                     number([](const auto& s) { return s.signed_sd_deg; })});
}

void add_shares(const Rubric& rubric, Columns<Row>& columns) {
  const auto thresholds = rubric.thresholds_deg();
  for (std::size_t i = 0; i < thresholds.size(); ++i) {
    const std::string name = threshold_name(thresholds[i]);
    const auto part = [i](double Estimate::*which) {
      return [i, which](const Row& r) {
        const auto& share = r.summary->shares[i].share;
        return share ? number_text((*share).*which) : std::string();
      };
    };
    columns.push_back(
        {"within_" + name, "", "graded cases within " + name + " degrees",
         [i](const Row& r) { return fmt::format("{}", r.summary->shares[i].within); }});
    columns.push_back(
        {"straddling_" + name, "", "graded cases whose interval holds " + name + " degrees",
         [i](const Row& r) { return fmt::format("{}", r.summary->shares[i].straddling); }});
    columns.push_back(
        {"share_within_" + name, "0..1", "of the graded cases", part(&Estimate::value)});
    columns.push_back({"share_within_" + name + "_low", "0..1",
                       "exact 95 % interval (Clopper-Pearson)", part(&Estimate::low)});
    columns.push_back({"share_within_" + name + "_high", "0..1",
                       "exact 95 % interval (Clopper-Pearson)", part(&Estimate::high)});
    columns.push_back({"expected_share_within_" + name, "0..1",
                       "mean probability, which counts straddling cases in part",
                       [i](const Row& r) {
                         const auto& s = r.summary->shares[i];
                         return s.share ? number_text(s.expected_share) : std::string();
                       }});
  }
}

void add_budget(Columns<Row>& columns) {
  for (std::size_t i = 0; i < budget_parts; ++i) {
    const std::string name = name_of(static_cast<BudgetPart>(i));
    columns.push_back({name + "_cases", "", "graded cases whose recording supports this part",
                       [i](const Row& r) { return fmt::format("{}", r.summary->budget[i].n); }});
    columns.push_back(
        {name + "_mean_signed_deg", "degree", "axial mean of this part",
         [i](const Row& r) { return number_text(r.summary->budget[i].mean_signed_deg); }});
    columns.push_back(
        {name + "_mean_absolute_deg", "degree", "mean size of this part",
         [i](const Row& r) { return number_text(r.summary->budget[i].mean_absolute_deg); }});
  }
}

void add_progress(Columns<Row>& columns) {
  const auto which = &OperatorSummary::change_per_10_cases_deg;
  columns.push_back({"change_per_10_cases_deg", "degree",
                     "slope of the size against the case number", bound(which, &Estimate::value)});
  add_interval(columns, "change_per_10_cases", "it", which);
  const auto at = [&](const char* name, const char* meaning, auto get) {
    columns.push_back({name, "", meaning, [get](const Row& r) {
                         const auto& n = get(*r.summary);
                         return n ? fmt::format("{}", *n) : std::string();
                       }});
  };
  at("acceptable_from_case",
     "case number at which the sum of the CUSUM accepted the acceptable rate",
     [](const OperatorSummary& s) { return s.cusum_accepted; });
  at("unacceptable_from_case",
     "case number at which it accepted the unacceptable rate, if that came first",
     [](const OperatorSummary& s) { return s.cusum_rejected; });
}

void add_comparison(Columns<Row>& columns) {
  const auto part = [](double Estimate::*which) {
    return [which](const Row& r) {
      const bool has = r.comparison != nullptr && r.comparison->typical_deg;
      return has ? number_text((*r.comparison->typical_deg).*which) : std::string();
    };
  };
  columns.push_back({"typical_deg", "degree",
                     "size of the deviation, shrunken towards the programme's and adjusted",
                     part(&Estimate::value)});
  columns.push_back({"typical_low_deg", "degree", "95 % interval", part(&Estimate::low)});
  columns.push_back({"typical_high_deg", "degree", "95 % interval", part(&Estimate::high)});
  columns.push_back({"against_programme", "",
                     "by the 95 % interval of the operator's effect; never a rank",
                     [](const Row& r) {
                       return r.comparison != nullptr ? std::string(name_of(r.comparison->standing))
                                                      : std::string();
                     }});
  columns.push_back({"comparison_note", "", "why there is no comparison", [](const Row& r) {
                       return r.comparison != nullptr ? r.comparison->note : std::string();
                     }});
}

}  // namespace

Columns<OperatorRow> operator_columns(const Programme& programme) {
  Columns<OperatorRow> columns;
  add_counts(programme.rubric, columns);
  add_accuracy(columns);
  add_shares(programme.rubric, columns);
  add_budget(columns);
  add_progress(columns);
  add_comparison(columns);
  return columns;
}

Columns<LearningRow> learning_columns() {
  const auto running = [](double Estimate::*part) {
    return [part](const LearningRow& r) {
      const auto& mean = r.point->running_mean;
      return mean ? number_text((*mean).*part) : std::string();
    };
  };
  return {
      {"operator", "", "code", [](const LearningRow& r) { return *r.code; }},
      {"case_number", "", "of the operator's cases, all counted",
       [](const LearningRow& r) { return fmt::format("{}", r.point->case_number); }},
      {"date", "", "ISO 8601", [](const LearningRow& r) { return r.point->date; }},
      {"absolute_deviation_deg", "degree", "size of the deviation",
       [](const LearningRow& r) { return number_text(r.point->absolute_deg); }},
      {"running_mean_deg", "degree", "mean over the rubric's window of graded cases",
       running(&Estimate::value)},
      {"running_mean_low_deg", "degree", "95 % interval", running(&Estimate::low)},
      {"running_mean_high_deg", "degree", "95 % interval", running(&Estimate::high)},
      {"failure_probability", "0..1", "of lying beyond the CUSUM's bound",
       [](const LearningRow& r) { return number_text(r.point->failure); }},
      {"cusum_sum", "", "plain sum of failure minus step",
       [](const LearningRow& r) { return number_text(r.point->cumulative); }},
      {"cusum_chart", "", "chart that starts again at 0 after a signal",
       [](const LearningRow& r) { return number_text(r.point->chart); }},
      {"cusum_signal", "", "yes where the chart reached its limit",
       [](const LearningRow& r) { return std::string(r.point->signal ? "yes" : "no"); }},
  };
}

}  // namespace rhumb::grade
