#include "grade/readers.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <map>
#include <set>

#include "angle/angle.h"
#include "files/user_error.h"
#include "grade/csv.h"
#include "statistics/axial.h"

namespace rhumb::grade {
namespace {

constexpr const char* program = "rhumb";

double wrapped_deg(double deg) {
  return angle::deg_from_rad(angle::wrap_deviation(angle::rad_from_deg(deg)));
}

// Axes of one case by reader, in the order of the table.
using ByReader = std::map<std::string, std::vector<double>>;

struct ReadCase {
  std::string id;
  std::optional<double> planned_deg;
  ByReader axes;
};

double first_of(const ReadCase& c, const std::string& reader) { return c.axes.at(reader).front(); }

std::size_t needed_column(const CsvTable& table, const char* name) {
  const std::size_t column = table.column(name);
  if (column == CsvTable::npos) {
    throw UserError(table.file.string(), "line 1",
                    fmt::format("there is no column named '{}'", name),
                    "the table needs case, reader and axis_deg");
  }
  return column;
}

std::map<std::string, const GradedCase*> by_id(const std::vector<GradedCase>& cases,
                                               std::set<std::string>& shared) {
  std::map<std::string, const GradedCase*> found;
  for (const GradedCase& c : cases) {
    const std::string& id = c.reading.case_id;
    if (!id.empty() && !found.emplace(id, &c).second) shared.insert(id);
  }
  return found;
}

std::map<std::string, ReadCase> collect(const std::vector<HumanReading>& readings,
                                        const std::vector<GradedCase>& cases,
                                        const std::filesystem::path& file, Agreement& agreement) {
  std::set<std::string> shared;
  const auto known = by_id(cases, shared);
  std::map<std::string, ReadCase> read;
  for (const HumanReading& r : readings) {
    if (shared.count(r.case_id) != 0) {
      throw UserError(file.string(), fmt::format("line {}", r.line),
                      fmt::format("two outcomes of the cohort have the case id '{}'", r.case_id),
                      "give each case an id of its own");
    }
    const auto at = known.find(r.case_id);
    if (at == known.end()) {
      ++agreement.unmatched;
      continue;
    }
    const CaseReading& own = at->second->reading;
    ReadCase& entry = read[r.case_id];
    entry.id = r.case_id;
    entry.axes[r.reader].push_back(r.axis_deg);
    if (entry.axes.count(program) == 0 && own.axis && !own.axes_are_relative) {
      entry.axes[program] = {own.axis->value};
      entry.planned_deg = own.planned_deg;
    } else if (own.planned_deg && !own.axes_are_relative) {
      entry.planned_deg = own.planned_deg;
    }
  }
  return read;
}

PairAgreement compare(const std::map<std::string, ReadCase>& cases, const std::string& first,
                      const std::string& second) {
  PairAgreement result{first, second, {}, {}};
  std::vector<double> differences;
  for (const auto& [id, c] : cases) {
    if (c.axes.count(first) == 0 || c.axes.count(second) == 0) continue;
    const double a = first_of(c, first);
    const double b = first_of(c, second);
    const double both[] = {angle::rad_from_deg(a), angle::rad_from_deg(b)};
    const double mean = angle::wrap_axis(statistics::axial_mean(both)->mean_rad);
    result.pairs.push_back({id, angle::deg_from_rad(mean), wrapped_deg(a - b)});
    differences.push_back(result.pairs.back().difference_deg);
  }
  result.limits = statistics::bland_altman(differences);
  return result;
}

GroupAgreement group_of(const std::map<std::string, ReadCase>& cases,
                        std::vector<std::string> readers) {
  GroupAgreement result{std::move(readers), 0, {}};
  std::vector<double> table;
  for (const auto& entry : cases) {
    const ReadCase& c = entry.second;
    const bool complete =
        c.planned_deg && std::all_of(result.readers.begin(), result.readers.end(),
                                     [&](const auto& r) { return c.axes.count(r) != 0; });
    if (!complete) continue;
    ++result.cases;
    for (const auto& r : result.readers)
      table.push_back(wrapped_deg(first_of(c, r) - *c.planned_deg));
  }
  result.icc = statistics::intraclass_correlation(table, result.readers.size());
  return result;
}

ReaderRepeatability repeats_of(const std::map<std::string, ReadCase>& cases,
                               const std::string& reader) {
  std::vector<std::vector<double>> by_case;
  for (const auto& [id, c] : cases) {
    const auto at = c.axes.find(reader);
    if (at == c.axes.end()) continue;
    // Unwrapped about the first reading, so that 179 and 1 lie 2 apart.
    std::vector<double> near_first;
    for (const double axis : at->second)
      near_first.push_back(wrapped_deg(axis - at->second.front()));
    by_case.push_back(std::move(near_first));
  }
  return {reader, statistics::repeatability(by_case)};
}

}  // namespace

std::vector<HumanReading> read_readings(const std::filesystem::path& file) {
  const CsvTable table = read_csv(file);
  const std::size_t id = needed_column(table, "case");
  const std::size_t reader = needed_column(table, "reader");
  const std::size_t axis = needed_column(table, "axis_deg");
  const auto place = [&](const CsvRow& row, std::size_t column) {
    return fmt::format("line {}, column {} ({})", row.line, column_letter(column),
                       table.header[column]);
  };
  std::vector<HumanReading> readings;
  for (const CsvRow& row : table.rows) {
    const std::string& code = row.fields[reader];
    if (!is_code(code) || code == program) {
      throw UserError(file.string(), place(row, reader),
                      fmt::format("'{}' is no reader's code", code),
                      "use letters, digits, '-', '_' or '.', and no names");
    }
    const std::string& text = row.fields[axis];
    double value = -1.0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc() || end != text.data() + text.size() ||
        !(value >= 0.0 && value <= 180.0)) {
      throw UserError(file.string(), place(row, axis), fmt::format("'{}' is no axis", text),
                      "write degrees from 0 to 180 with a decimal point");
    }
    readings.push_back({row.line, row.fields[id], code, value});
  }
  return readings;
}

Agreement agreement_of(const std::vector<HumanReading>& readings,
                       const std::vector<GradedCase>& cases, const std::filesystem::path& file) {
  Agreement agreement;
  agreement.readings = readings.size();
  const auto read = collect(readings, cases, file, agreement);
  std::set<std::string> codes;
  for (const auto& [id, c] : read) {
    for (const auto& [reader, axes] : c.axes) {
      if (reader != program) codes.insert(reader);
    }
  }
  const std::vector<std::string> readers(codes.begin(), codes.end());
  for (const auto& r : readers) agreement.pairs.push_back(compare(read, program, r));
  for (std::size_t i = 0; i < readers.size(); ++i) {
    for (std::size_t j = i + 1; j < readers.size(); ++j) {
      agreement.pairs.push_back(compare(read, readers[i], readers[j]));
    }
  }
  std::vector<std::string> with_program = readers;
  with_program.insert(with_program.begin(), program);
  if (readers.size() > 1) agreement.groups.push_back(group_of(read, readers));
  if (!readers.empty()) agreement.groups.push_back(group_of(read, with_program));
  for (const auto& r : readers) agreement.repeatability.push_back(repeats_of(read, r));
  return agreement;
}

}  // namespace rhumb::grade
