#include "report/compare.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>
#include <string_view>

#include "angle/angle.h"
#include "files/user_error.h"

namespace rhumb::report {
namespace {

using Json = nlohmann::json;

constexpr const char* mend = "give a folder that rhumb analyze has written";
constexpr const char* result_name = "result.json";
constexpr double most_frames = 1e9;  // that a timeline can number: half a year at 60 a second
constexpr const char* timeline_name = "timeline.csv";

std::string whole_text(const std::filesystem::path& file) {
  std::ifstream stream(file, std::ios::binary);
  if (!stream) throw UserError(file.string(), "", "cannot be read", mend);
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

double wrapped_deg(double difference_deg) {
  return angle::deg_from_rad(angle::wrap_deviation(angle::rad_from_deg(difference_deg)));
}

void read_result(ComparedOutcome& outcome, const std::string& text,
                 const std::filesystem::path& file) {
  try {
    const Json value = Json::parse(text);
    outcome.id = value.at("case").at("id");
    const Json& run = value.at("run");
    outcome.version = run.at("version");
    outcome.commit = run.at("commit");
    outcome.case_sha256 = run.at("case_sha256");
    outcome.input_sha256 = run.at("input_sha256").get<std::vector<std::string>>();
    const Json& final = value.at("final");
    if (final.is_null()) return;
    outcome.final = StatedAxis{final.at("axis_deg"), final.at("low_deg"), final.at("high_deg")};
    if (!final.at("deviation_deg").is_null()) outcome.deviation_deg = final.at("deviation_deg");
    outcome.confidence = final.at("confidence");
    outcome.rests_on_anchor = final.at("rests_on_anchor");
  } catch (const Json::exception& error) {
    throw UserError(file.string(), "",
                    std::string("is not a result of this program: ") + error.what(), mend);
  }
}

std::optional<double> number_in(std::string_view field) {
  double value = 0.0;
  const auto [end, error] = std::from_chars(field.data(), field.data() + field.size(), value);
  if (error != std::errc() || end != field.data() + field.size() || !std::isfinite(value))
    return std::nullopt;
  return value;
}

// This program's own tables hold no quoted fields.
std::vector<std::string_view> fields_of(std::string_view line) {
  std::vector<std::string_view> fields;
  while (true) {
    const std::size_t comma = line.find(',');
    fields.push_back(line.substr(0, comma));
    if (comma == std::string_view::npos) return fields;
    line.remove_prefix(comma + 1);
  }
}

struct Columns {
  std::size_t frame = 0, axis = 0, low = 0, high = 0, count = 0;
};

Columns columns_in(std::string_view header, const std::filesystem::path& file) {
  const std::vector<std::string_view> names = fields_of(header);
  const auto find = [&](std::string_view name) {
    const auto place = std::find(names.begin(), names.end(), name);
    if (place == names.end())
      throw UserError(file.string(), "line 1", fmt::format("has no column {}", name), mend);
    return static_cast<std::size_t>(place - names.begin());
  };
  return {find("frame"), find("axis_deg"), find("axis_low_deg"), find("axis_high_deg"),
          names.size()};
}

void read_timeline(ComparedOutcome& outcome, const std::string& text,
                   const std::filesystem::path& file) {
  std::istringstream lines(text);
  std::string line;
  const auto next = [&] {
    if (!std::getline(lines, line)) return false;
    if (!line.empty() && line.back() == '\r') line.pop_back();
    return true;
  };
  next();
  const Columns columns = columns_in(line, file);
  while (next()) {
    const std::vector<std::string_view> fields = fields_of(line);
    if (fields.size() != columns.count)
      throw UserError(file.string(), fmt::format("line {}", outcome.frame_count + 2),
                      "has another number of fields than the first line", mend);
    ++outcome.frame_count;
    const auto frame = number_in(fields[columns.frame]);
    const auto axis = number_in(fields[columns.axis]);
    const auto low = number_in(fields[columns.low]);
    const auto high = number_in(fields[columns.high]);
    if (!frame || *frame < 0.0 || *frame > most_frames || *frame != std::floor(*frame))
      throw UserError(file.string(), fmt::format("line {}", outcome.frame_count + 1),
                      "has no frame number", mend);
    if (axis && low && high)
      outcome.frames.push_back({static_cast<std::int64_t>(*frame), {*axis, *low, *high}});
  }
}

bool holds(const StatedAxis& interval, double axis_deg) {
  const double off = wrapped_deg(axis_deg - interval.axis_deg);
  return off >= interval.low_deg - interval.axis_deg &&
         off <= interval.high_deg - interval.axis_deg;
}

bool meet(const StatedAxis& a, const StatedAxis& b) {
  const double off = wrapped_deg(b.axis_deg - a.axis_deg);
  return off >= 0.0 ? (a.high_deg - a.axis_deg) + (b.axis_deg - b.low_deg) >= off
                    : (a.axis_deg - a.low_deg) + (b.high_deg - b.axis_deg) >= -off;
}

double median(std::vector<double> values) {
  if (values.empty()) return 0.0;
  std::sort(values.begin(), values.end());
  const std::size_t half = values.size() / 2;
  return values.size() % 2 == 1 ? values[half] : 0.5 * (values[half - 1] + values[half]);
}

}  // namespace

ComparedOutcome parse_compared(const std::string& result, const std::string& timeline,
                               const std::filesystem::path& folder) {
  ComparedOutcome outcome;
  outcome.folder = folder;
  read_result(outcome, result, folder / result_name);
  read_timeline(outcome, timeline, folder / timeline_name);
  return outcome;
}

ComparedOutcome read_compared(const std::filesystem::path& folder) {
  const std::string result = whole_text(folder / result_name);
  return parse_compared(result, whole_text(folder / timeline_name), folder);
}

OutcomeChange change_between(const ComparedOutcome& first, const ComparedOutcome& second) {
  OutcomeChange change;
  if (first.final && second.final) {
    change.final_deg = wrapped_deg(second.final->axis_deg - first.final->axis_deg);
    change.within_first = holds(*first.final, second.final->axis_deg);
    change.within_second = holds(*second.final, first.final->axis_deg);
  }
  std::vector<double> apart;
  auto a = first.frames.begin();
  auto b = second.frames.begin();
  while (a != first.frames.end() || b != second.frames.end()) {
    if (b == second.frames.end() || (a != first.frames.end() && a->first < b->first)) {
      ++change.no_longer_read;
      ++a;
    } else if (a == first.frames.end() || b->first < a->first) {
      ++change.newly_read;
      ++b;
    } else {
      apart.push_back(std::abs(wrapped_deg(b->second.axis_deg - a->second.axis_deg)));
      if (!meet(a->second, b->second)) ++change.intervals_apart;
      ++a;
      ++b;
    }
  }
  change.read_in_both = static_cast<std::int64_t>(apart.size());
  if (!apart.empty()) change.largest_deg = *std::max_element(apart.begin(), apart.end());
  change.median_deg = median(std::move(apart));
  return change;
}

}  // namespace rhumb::report
