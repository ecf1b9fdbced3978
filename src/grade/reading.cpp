#include "grade/reading.h"

#include <fmt/format.h>

#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>

#include "files/user_error.h"
#include "grade/cohort.h"
#include "outcome/outcome.h"

namespace rhumb::grade {
namespace {

using nlohmann::json;

// Thrown inside this file only: the outcome is not what an outcome is.
struct Damage {
  std::string what;
};

const json* find(const json& object, const char* key) {
  if (!object.is_object()) return nullptr;
  const auto at = object.find(key);
  return at == object.end() || at->is_null() ? nullptr : &*at;
}

const json* find_object(const json& object, const char* key) {
  const json* value = find(object, key);
  if (value != nullptr && !value->is_object()) throw Damage{fmt::format("{} is no object", key)};
  return value;
}

std::string text(const json& object, const char* key) {
  const json* value = find(object, key);
  if (value == nullptr) return {};
  if (!value->is_string()) throw Damage{fmt::format("{} is no text", key)};
  return one_line(value->get<std::string>());
}

std::optional<double> number(const json& object, const char* key, double least, double most) {
  const json* value = find(object, key);
  if (value == nullptr) return std::nullopt;
  if (!value->is_number()) throw Damage{fmt::format("{} is no number", key)};
  const auto v = value->get<double>();
  if (!std::isfinite(v) || v < least || v > most) {
    throw Damage{fmt::format("{} is {}, outside {} to {}", key, v, least, most)};
  }
  return v;
}

bool flag(const json& object, const char* key) {
  const json* value = find(object, key);
  if (value == nullptr) return false;
  if (!value->is_boolean()) throw Damage{fmt::format("{} is neither true nor false", key)};
  return value->get<bool>();
}

// All three numbers, in order, or nothing.
std::optional<AngleDeg> angle(const json& object, const char* value, const char* low,
                              const char* high, double least, double most) {
  const auto v = number(object, value, least, most);
  if (!v) return std::nullopt;
  // An interval may reach past the ends of the range, by half a turn at most.
  const auto l = number(object, low, least - 180.0, most);
  const auto h = number(object, high, least, most + 180.0);
  if (!l || !h) throw Damage{fmt::format("{} comes without {} and {}", value, low, high)};
  if (*l > *v || *h < *v) throw Damage{fmt::format("{} lies outside its interval", value)};
  return AngleDeg{*v, *l, *h};
}

void read_budget(const json& root, CaseReading& reading) {
  const json* budget = find_object(root, "error_budget");
  if (budget == nullptr) return;
  for (std::size_t i = 0; i < budget_parts; ++i) {
    const json* part = find_object(*budget, name_of(static_cast<BudgetPart>(i)));
    if (part != nullptr) {
      reading.budget[i] = angle(*part, "value_deg", "low_deg", "high_deg", -180.0, 180.0);
    }
  }
}

void refuse(CaseReading& reading, NotGraded reason, const std::string& sentence) {
  reading.not_graded = reason;
  reading.reason = one_line(sentence);
}

void read_final(const json& root, CaseReading& reading) {
  if (!root.contains("final")) throw Damage{"final is missing"};
  const json* last = find_object(root, "final");
  if (last == nullptr) return;
  reading.axis = angle(*last, "axis_deg", "low_deg", "high_deg", 0.0, 180.0);
  if (!reading.axis) throw Damage{"final.axis_deg is missing"};
  reading.deviation =
      angle(*last, "deviation_deg", "deviation_low_deg", "deviation_high_deg", -90.0, 90.0);
  reading.confidence = number(*last, "confidence", 0.0, 1.0);
  reading.rests_on_anchor = flag(*last, "rests_on_anchor");
}

void judge(CaseReading& reading, bool has_plan, bool plan_is_relative) {
  if (!reading.axis) {
    refuse(reading, NotGraded::NoFinalAxis,
           reading.verdict.empty() ? "the recording gives no axis at the end" : reading.verdict);
  } else if (!has_plan) {
    refuse(reading, NotGraded::NoPlan, "no planned axis is stated");
  } else if (reading.axes_are_relative && !plan_is_relative) {
    refuse(reading, NotGraded::RelativeAxes,
           "nothing ties the recording to the eye's meridians, so only changes can be trusted");
  } else if (!reading.deviation) {
    refuse(reading, NotGraded::NoPlan, "the outcome gives no deviation from a plan");
  }
}

CaseReading read_root(const json& root) {
  if (!root.is_object()) throw Damage{"it holds no object"};
  CaseReading reading;
  const json* version = find(root, "schema_version");
  if (version == nullptr || !version->is_number_integer()) {
    throw Damage{"schema_version is missing or no whole number"};
  }
  if (version->get<long long>() > outcome::schema_version) {
    refuse(reading, NotGraded::NewerSchema,
           fmt::format(
               "result.json has schema version {}, this program knows up to {}: use a newer one",
               version->get<long long>(), outcome::schema_version));
    return reading;
  }
  if (text(root, "program") != "rhumb") throw Damage{"program is not rhumb"};
  const json empty = json::object();
  const json* about = find_object(root, "case");
  const json& stated = about == nullptr ? empty : *about;
  reading.case_id = text(stated, "id");
  reading.eye = text(stated, "eye");
  reading.operator_code = text(stated, "operator");
  reading.date = text(stated, "date");
  if (!reading.date.empty() && !is_iso_date(reading.date)) throw Damage{"case.date is no date"};
  reading.verdict = text(root, "verdict");
  reading.axes_are_relative = flag(root, "axes_are_relative");
  if (const json* run = find_object(root, "run")) reading.program_version = text(*run, "version");
  const json* plan = find_object(root, "plan");
  const json& planned = plan == nullptr ? empty : *plan;
  reading.planned_deg = number(planned, "axis_deg", 0.0, 180.0);
  reading.tolerance_deg = number(planned, "tolerance_deg", 0.0, 90.0);
  const auto turn = number(planned, "from_previous_lens_deg", -180.0, 180.0);
  read_final(root, reading);
  read_budget(root, reading);
  judge(reading, reading.planned_deg.has_value() || turn.has_value(), turn.has_value());
  return reading;
}

CaseReading damaged(const std::string& what) {
  CaseReading reading;
  refuse(reading, NotGraded::Damaged, "result.json is damaged: " + what);
  return reading;
}

CaseReading missing(const std::string& what) {
  CaseReading reading;
  refuse(reading, NotGraded::Missing, what);
  return reading;
}

}  // namespace

const char* name_of(BudgetPart part) {
  switch (part) {
    case BudgetPart::ReferenceMarking:
      return "reference_marking";
    case BudgetPart::AxisMarking:
      return "axis_marking";
    case BudgetPart::Alignment:
      return "alignment";
    case BudgetPart::RotationAfterPlacement:
      break;
  }
  return "rotation_after_placement";
}

const char* name_of(NotGraded reason) {
  switch (reason) {
    case NotGraded::No:
      return "graded";
    case NotGraded::Missing:
      return "missing";
    case NotGraded::Damaged:
      return "damaged";
    case NotGraded::NewerSchema:
      return "newer schema";
    case NotGraded::NoFinalAxis:
      return "no final axis";
    case NotGraded::NoPlan:
      return "no plan";
    case NotGraded::RelativeAxes:
      return "relative axes";
    case NotGraded::IntervalTooWide:
      break;
  }
  return "interval too wide";
}

CaseReading parse_outcome(const std::string& text) {
  try {
    return read_root(json::parse(text));
  } catch (const json::parse_error& error) {
    return damaged(fmt::format("no JSON from byte {} on", error.byte));
  } catch (const json::exception& error) {
    return damaged(error.what());
  } catch (const Damage& damage) {
    return damaged(damage.what);
  }
}

CaseReading read_outcome(const std::filesystem::path& folder, std::size_t most_bytes) {
  std::error_code error;
  if (!std::filesystem::is_directory(folder, error))
    return missing("there is no such outcome folder");
  const auto file = folder / "result.json";
  if (!std::filesystem::is_regular_file(file, error)) {
    return missing("the folder holds no result.json: analyse the case");
  }
  const auto size = std::filesystem::file_size(file, error);
  if (error) return missing("result.json cannot be read");
  if (size > most_bytes) return damaged(fmt::format("larger than {} MB", most_bytes >> 20U));
  std::string text(size, '\0');
  std::ifstream in(file, std::ios::binary);
  in.read(text.data(), static_cast<std::streamsize>(size));
  if (!in) return missing("result.json cannot be read: check its rights");
  return parse_outcome(text);
}

}  // namespace rhumb::grade
