// The tables of a study.
#include <cmath>

#include "grade/columns.h"
#include "report/study_report.h"

namespace rhumb::report {
namespace {

using grade::Columns;
using grade::number_text;
using statistics::Estimate;
using study::EyeResult;
using study::Study;
using study::VisitResult;

struct VisitRow {
  const Study* study = nullptr;
  std::size_t eye = 0;
  std::optional<std::size_t> visit;  // none: an eye of which not even the visits are known
  const EyeResult& result() const { return study->eyes[eye]; }
  const study::TableEye& stated() const { return study->table.eyes[eye]; }
  const VisitResult* at() const { return visit ? &result().visits[*visit] : nullptr; }
};

std::string count(std::size_t n) { return fmt::format("{}", n); }

std::string days_text(const std::optional<int>& days) {
  return days ? fmt::format("{}", *days) : std::string();
}

const study::VisitRemark* remark_of(const VisitRow& row) {
  if (row.at() != nullptr)
    for (const auto& remark : row.stated().remarks)
      if (remark.visit == row.at()->label) return &remark;
  for (const auto& remark : row.stated().remarks)
    if (remark.visit.empty() || row.at() == nullptr) return &remark;
  return nullptr;
}

void add_interval(Columns<VisitRow>& columns, const std::string& stem, const std::string& meaning,
                  std::optional<Estimate> VisitResult::*which) {
  const auto part = [which](double Estimate::*field) {
    return [which, field](const VisitRow& r) {
      if (r.at() == nullptr || !(r.at()->*which)) return std::string();
      return number_text((*(r.at()->*which)).*field);
    };
  };
  columns.push_back({stem + "_deg", "degree", meaning, part(&Estimate::value)});
  columns.push_back(
      {stem + "_low_deg", "degree", "lower end of its 95 % interval", part(&Estimate::low)});
  columns.push_back(
      {stem + "_high_deg", "degree", "upper end of its 95 % interval", part(&Estimate::high)});
}

void add_stated(Columns<VisitRow>& columns, const Study& study) {
  for (std::size_t i = 0; i < study.table.readers.size(); ++i)
    columns.push_back({study.table.readers[i].name, "degree", "as the study's table has it",
                       [i](const VisitRow& r) {
                         const auto* remark = remark_of(r);
                         return remark != nullptr ? number_text(remark->readings_deg[i])
                                                  : std::string();
                       }});
  for (std::size_t i = 0; i < study.table.covariates.size(); ++i)
    columns.push_back(
        {study.table.covariates[i], "", "as the study's table has it", [i](const VisitRow& r) {
           const auto* remark = remark_of(r);
           return remark != nullptr ? remark->covariates[i] : std::string();
         }});
}

Columns<VisitRow> visit_columns(const Study& study) {
  Columns<VisitRow> columns = {
      {"id", "", "code of the eye", [](const VisitRow& r) { return r.result().id; }},
      {"eye", "", "right or left", [](const VisitRow& r) { return r.result().eye; }},
      {"visit", "", "its label", [](const VisitRow& r) { return r.at() ? r.at()->label : ""; }},
      {"visit_number", "", "from 1, in the order of time",
       [](const VisitRow& r) { return r.visit ? count(*r.visit + 1) : std::string(); }},
      {"date", "", "ISO 8601", [](const VisitRow& r) { return r.at() ? r.at()->date : ""; }},
      {"surgery_date", "", "ISO 8601, as the study's table has it",
       [](const VisitRow& r) { return r.stated().surgery_date; }},
      {"days_since_surgery", "day", "from surgery_date to date",
       [](const VisitRow& r) {
         return days_text(study::days_between(r.stated().surgery_date, r.at() ? r.at()->date : ""));
       }},
      {"days_since_first", "day", "since the first visit",
       [](const VisitRow& r) {
         return r.at()
                    ? days_text(study::days_between(r.result().visits.front().date, r.at()->date))
                    : std::string();
       }},
      {"photographs", "", "of this visit",
       [](const VisitRow& r) {
         return r.at() ? count(r.at()->photographs.size()) : std::string();
       }},
      {"photographs_read", "", "of these, with an axis", [](const VisitRow& r) {
         if (r.at() == nullptr) return std::string();
         std::size_t n = 0;
         for (const auto& p : r.at()->photographs) n += p.axis_deg ? 1U : 0U;
         return count(n);
       }}};
  add_interval(columns, "axis",
               "axis of the lens, in [0, 180), in the first visit's frame of the eye",
               &VisitResult::axis);
  add_interval(columns, "head_tilt",
               "the eye's rotation in the photograph against the first visit's",
               &VisitResult::head_tilt);
  add_interval(columns, "drift",
               "the lens's rotation since the first visit, counter-clockwise positive",
               &VisitResult::drift);
  add_interval(columns, "step",
               "the lens's rotation since the visit before, counter-clockwise positive",
               &VisitResult::step);
  columns.push_back({"why_not", "", "why there is no axis", [](const VisitRow& r) {
                       return r.at() ? r.at()->why_not : r.result().failure;
                     }});
  columns.push_back(
      {"results", "", "folder of the eye's own outputs, beside this table", [](const VisitRow& r) {
         return r.result().failure.empty() ? "eyes/" + r.stated().folder : std::string();
       }});
  add_stated(columns, study);
  return columns;
}

template <typename Get>
auto estimate_part(Get get, double Estimate::*field, double factor = 1.0) {
  return [get, field, factor](const auto& r) {
    const std::optional<Estimate>& e = get(r);
    return e ? number_text(factor * ((*e).*field)) : std::string();
  };
}

Columns<study::Interval> interval_columns() {
  using study::Interval;
  const auto number = [](double Interval::*which) {
    return [which](const Interval& i) { return number_text(i.*which); };
  };
  const auto mean = [](const Interval& i) -> const std::optional<Estimate>& {
    return i.mean_signed;
  };
  Columns<Interval> columns = {
      {"kind", "", "since_first: from the first visit; step: from the visit before",
       [](const Interval& i) { return std::string(i.since_first ? "since_first" : "step"); }},
      {"from", "", "label of the earlier visit", [](const Interval& i) { return i.from; }},
      {"to", "", "label of the later visit", [](const Interval& i) { return i.to; }},
      {"median_days", "day", "between the two, over the eyes with dates",
       [](const Interval& i) { return number_text(i.median_days); }},
      {"eyes", "", "that have both visits", [](const Interval& i) { return count(i.eyes); }},
      {"measured", "", "of these, with a rotation; what follows is over them",
       [](const Interval& i) { return count(i.rotations_deg.size()); }},
      {"mean_absolute_deg", "degree", "mean size of the rotation",
       number(&Interval::mean_absolute_deg)},
      {"sd_absolute_deg", "degree", "its standard deviation (n - 1)",
       number(&Interval::sd_absolute_deg)},
      {"median_absolute_deg", "degree", "median size", number(&Interval::median_absolute_deg)},
      {"max_absolute_deg", "degree", "largest size", number(&Interval::max_absolute_deg)},
      {"mean_deg", "degree", "mean rotation, counter-clockwise positive",
       estimate_part(mean, &Estimate::value)},
      {"mean_low_deg", "degree", "its 95 % interval (Student's t)",
       estimate_part(mean, &Estimate::low)},
      {"mean_high_deg", "degree", "its 95 % interval (Student's t)",
       estimate_part(mean, &Estimate::high)},
      {"sd_deg", "degree", "standard deviation of the rotation (n - 1)",
       number(&Interval::sd_signed_deg)}};
  for (std::size_t b = 0; b < study::bounds_deg.size(); ++b) {
    const std::string stem = fmt::format("within_{:g}", study::bounds_deg[b]);
    const auto share = [b](const Interval& i) -> const std::optional<Estimate>& {
      return i.within[b].share;
    };
    columns.push_back({stem + "_eyes", "",
                       "eyes that turned by at most so many degrees, either way",
                       [b](const Interval& i) { return count(i.within[b].eyes); }});
    columns.push_back({stem + "_percent", "%", "their share of those measured",
                       estimate_part(share, &Estimate::value, 100)});
    columns.push_back({stem + "_low_percent", "%", "its exact 95 % interval (Clopper and Pearson)",
                       estimate_part(share, &Estimate::low, 100)});
    columns.push_back({stem + "_high_percent", "%", "its exact 95 % interval (Clopper and Pearson)",
                       estimate_part(share, &Estimate::high, 100)});
  }
  const auto turned = [](const Interval& i) -> const std::optional<Estimate>& {
    return i.counter_clockwise_share;
  };
  columns.push_back({"counter_clockwise", "", "eyes whose 95 % interval lies above zero",
                     [](const Interval& i) { return count(i.counter_clockwise); }});
  columns.push_back({"clockwise", "", "eyes whose 95 % interval lies below zero",
                     [](const Interval& i) { return count(i.clockwise); }});
  columns.push_back({"direction_undecided", "", "eyes whose 95 % interval holds zero",
                     [](const Interval& i) { return count(i.undecided); }});
  columns.push_back({"counter_clockwise_percent", "%", "share of those decided",
                     estimate_part(turned, &Estimate::value, 100)});
  columns.push_back({"counter_clockwise_low_percent", "%", "its exact 95 % interval",
                     estimate_part(turned, &Estimate::low, 100)});
  columns.push_back({"counter_clockwise_high_percent", "%", "its exact 95 % interval",
                     estimate_part(turned, &Estimate::high, 100)});
  return columns;
}

struct PhotographRow {
  const EyeResult* eye = nullptr;
  const VisitResult* visit = nullptr;
  const study::PhotographResult* photograph = nullptr;
};

Columns<PhotographRow> photograph_columns() {
  return {
      {"id", "", "code of the eye", [](const PhotographRow& r) { return r.eye->id; }},
      {"visit", "", "its label", [](const PhotographRow& r) { return r.visit->label; }},
      {"file", "", "name without folder",
       [](const PhotographRow& r) { return r.photograph->file; }},
      {"sha256", "", "of the file", [](const PhotographRow& r) { return r.photograph->sha256; }},
      {"matched", "", "1 where it could be registered to the others, else 0",
       [](const PhotographRow& r) { return std::string(r.photograph->matched ? "1" : "0"); }},
      {"eye_rotation_deg", "degree", "the eye's rotation against the first photograph's",
       [](const PhotographRow& r) { return number_text(r.photograph->rotation_deg); }},
      {"axis_deg", "degree", "axis of the lens in this photograph alone, head tilt taken out",
       [](const PhotographRow& r) { return number_text(r.photograph->axis_deg); }},
      {"axis_se_deg", "degree", "its standard error: reading and registration",
       [](const PhotographRow& r) { return number_text(r.photograph->axis_se_deg); }},
      {"why_not", "", "why there is no axis",
       [](const PhotographRow& r) { return r.photograph->why_not; }}};
}

struct StatisticRow {
  std::string who, what, visit, statistic;
  std::size_t n = 0;
  Estimate estimate;
};

Columns<StatisticRow> agreement_columns() {
  return {
      {"comparison", "", "who is compared", [](const StatisticRow& r) { return r.who; }},
      {"of", "", "axis or drift", [](const StatisticRow& r) { return r.what; }},
      {"visit", "", "its label; empty for all", [](const StatisticRow& r) { return r.visit; }},
      {"statistic", "", "with its form named", [](const StatisticRow& r) { return r.statistic; }},
      {"n", "", "eyes; for repeatability visits", [](const StatisticRow& r) { return count(r.n); }},
      {"value_deg", "degree", "estimate",
       [](const StatisticRow& r) { return number_text(r.estimate.value); }},
      {"low_deg", "degree", "95 % interval",
       [](const StatisticRow& r) { return number_text(r.estimate.low); }},
      {"high_deg", "degree", "95 % interval",
       [](const StatisticRow& r) { return number_text(r.estimate.high); }}};
}

std::vector<StatisticRow> agreement_rows(const Study& study) {
  std::vector<StatisticRow> rows;
  for (const auto& one : study.agreement) {
    if (!one.limits) continue;
    const std::string who = "rhumb - " + one.reader, what = one.is_drift ? "drift" : "axis";
    const auto& l = *one.limits;
    rows.push_back({who, what, one.visit, "Bland-Altman bias", l.n, l.bias});
    rows.push_back({who, what, one.visit, "Bland-Altman lower limit", l.n, l.lower_limit});
    rows.push_back({who, what, one.visit, "Bland-Altman upper limit", l.n, l.upper_limit});
  }
  if (const auto& r = study.repeats.result) {
    const std::string who = "rhumb, photographs of one visit";
    rows.push_back({who, "axis", "", "within-visit SD", r->subjects, r->within_sd});
    rows.push_back({who, "axis", "", "repeatability coefficient (1.96 sqrt 2 SD)", r->subjects,
                    r->coefficient});
  }
  return rows;
}

template <typename Row>
std::string table_of(const Columns<Row>& columns, const std::vector<Row>& rows) {
  std::string out;
  grade::append_header(columns, out);
  for (const Row& row : rows) grade::append_row(columns, row, out);
  return out;
}

}  // namespace

std::string study_csv(const Study& study) {
  std::vector<VisitRow> rows;
  for (std::size_t i = 0; i < study.eyes.size(); ++i) {
    for (std::size_t v = 0; v < study.eyes[i].visits.size(); ++v) rows.push_back({&study, i, v});
    if (study.eyes[i].visits.empty()) rows.push_back({&study, i, std::nullopt});
  }
  return table_of(visit_columns(study), rows);
}

std::string intervals_csv(const Study& study) {
  return table_of(interval_columns(), study.intervals);
}

std::string photographs_csv(const Study& study) {
  std::vector<PhotographRow> rows;
  for (const EyeResult& eye : study.eyes)
    for (const VisitResult& visit : eye.visits)
      for (const auto& photograph : visit.photographs) rows.push_back({&eye, &visit, &photograph});
  return table_of(photograph_columns(), rows);
}

std::string agreement_csv(const Study& study) {
  return table_of(agreement_columns(), agreement_rows(study));
}

std::string study_columns_csv(const Study& study) {
  std::string out = "file,column,unit,meaning\n";
  grade::append_meanings("study.csv", visit_columns(study), out);
  grade::append_meanings("intervals.csv", interval_columns(), out);
  grade::append_meanings("photographs.csv", photograph_columns(), out);
  grade::append_meanings("agreement.csv", agreement_columns(), out);
  return out;
}

}  // namespace rhumb::report
