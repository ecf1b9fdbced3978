#include "study/eye_result.h"

#include <chrono>
#include <fstream>
#include <nlohmann/json.hpp>

#include "files/user_error.h"
#include "grade/cohort.h"

namespace rhumb::study {
namespace {

using Json = nlohmann::json;

Json read_json(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  return in ? Json::parse(in, nullptr, false) : Json();
}

std::optional<double> number(const Json& of, const char* key) {
  const auto at = of.find(key);
  if (at == of.end() || !at->is_number()) return std::nullopt;
  return at->get<double>();
}

std::string text(const Json& of, const char* key) {
  const auto at = of.find(key);
  return at != of.end() && at->is_string() ? at->get<std::string>() : std::string();
}

std::optional<statistics::Estimate> interval(const Json& visit, const char* key) {
  const auto at = visit.find(key);
  if (at == visit.end() || !at->is_object()) return std::nullopt;
  const auto value = number(*at, "value_deg"), low = number(*at, "low_deg"),
             high = number(*at, "high_deg");
  if (!value || !low || !high) return std::nullopt;
  return statistics::Estimate{*value, *low, *high};
}

std::chrono::sys_days day_of(const std::string& iso) {
  const auto part = [&](std::size_t from, std::size_t length) {
    return std::stoi(iso.substr(from, length));
  };
  return std::chrono::year(part(0, 4)) / std::chrono::month(static_cast<unsigned>(part(5, 2))) /
         std::chrono::day(static_cast<unsigned>(part(8, 2)));
}

VisitResult visit_of(const Json& json) {
  VisitResult visit;
  visit.label = text(json, "visit");
  visit.date = text(json, "date");
  visit.axis = interval(json, "axis");
  visit.head_tilt = interval(json, "head_tilt");
  visit.drift = interval(json, "drift");
  visit.step = interval(json, "step");
  visit.why_not = text(json, "why_not");
  for (const Json& one : json.at("photographs")) {
    PhotographResult photograph;
    photograph.file = text(one, "file");
    photograph.sha256 = text(one, "sha256");
    photograph.matched = one.value("matched", false);
    photograph.rotation_deg = number(one, "rotation_deg");
    photograph.axis_deg = number(one, "axis_deg");
    photograph.axis_se_deg = number(one, "axis_se_deg");
    photograph.why_not = text(one, "why_not");
    visit.photographs.push_back(std::move(photograph));
  }
  return visit;
}

}  // namespace

EyeResult read_eye_result(const std::filesystem::path& folder) {
  const std::filesystem::path file = folder / "result.json";
  try {
    const Json root = read_json(file);
    if (root.at("kind") != "followup") throw std::runtime_error("another kind");
    EyeResult eye;
    eye.id = text(root.at("series"), "id");
    eye.eye = text(root.at("series"), "eye");
    for (const Json& visit : root.at("visits")) eye.visits.push_back(visit_of(visit));
    return eye;
  } catch (const std::exception&) {
    throw UserError(file.string(), "", "is no outcome of a series",
                    "remove the folder and run the study again");
  }
}

EyeResult failed_eye(const Table& table, const TableEye& eye, const std::string& failure) {
  EyeResult out;
  out.id = eye.stated;
  out.failure = failure;
  try {
    const casefile::Series series = series_of(table, eye);
    out.id = series.id;
    out.eye = series.eye == casefile::Eye::Right ? "right" : "left";
    for (const casefile::Visit& stated : series.visits) {
      VisitResult visit;
      visit.label = stated.label;
      visit.date = stated.date;
      visit.why_not = failure;
      out.visits.push_back(std::move(visit));
    }
  } catch (const UserError&) {
    // Then nothing but its name is known.
  }
  return out;
}

bool is_up_to_date(const std::filesystem::path& folder, const std::string& version,
                   const std::string& commit, const std::string& series_sha256,
                   const std::vector<std::string>& input_sha256) {
  try {
    const Json run = read_json(folder / "result.json").at("run");
    return run.at("version") == version && run.at("commit") == commit &&
           run.at("case_sha256") == series_sha256 && run.at("input_sha256") == input_sha256;
  } catch (const std::exception&) {
    return false;
  }
}

std::optional<int> days_between(const std::string& from, const std::string& to) {
  if (!grade::is_iso_date(from) || !grade::is_iso_date(to)) return std::nullopt;
  return static_cast<int>((day_of(to) - day_of(from)).count());
}

}  // namespace rhumb::study
