#include "report/result_json.h"

#include <nlohmann/json.hpp>

#include "angle/angle.h"
#include "files/partial_file.h"
#include "outcome/caution.h"
#include "report/degrees.h"
#include "report/json_values.h"
#include "report/refraction_json.h"
#include "report/words.h"

namespace rhumb::report {
namespace {

Json case_value(const casefile::Case& stated) {
  return {{"id", stated.id},
          {"eye", word(stated.eye)},
          {"operator", text_or_null(stated.operator_code)},
          {"date", text_or_null(stated.date)}};
}

Json plan_value(const outcome::CaseOutcome& outcome) {
  const casefile::Plan& plan = outcome.stated.plan;
  Json axis;
  if (outcome.planned_axis_rad)
    axis =
        axis_deg({*outcome.planned_axis_rad, *outcome.planned_axis_rad, *outcome.planned_axis_rad})
            .value;
  return {{"axis_deg", axis},
          {"tolerance_deg", degrees_or_null(plan.tolerance_rad)},
          {"from_previous_lens_deg", degrees_or_null(plan.from_previous_lens_rad)}};
}

Json final_value(const outcome::CaseOutcome& outcome) {
  if (!outcome.final) return nullptr;
  const outcome::FinalAxis& final = *outcome.final;
  const IntervalDeg axis = axis_deg(final.axis);
  Json value = {{"axis_deg", number(axis.value)},
                {"low_deg", number(axis.low)},
                {"high_deg", number(axis.high)}};
  const bool compared = final.deviation.has_value();
  const IntervalDeg deviation = compared ? deviation_deg(*final.deviation) : IntervalDeg{};
  value["deviation_deg"] = compared ? number(deviation.value) : Json();
  value["deviation_low_deg"] = compared ? number(deviation.low) : Json();
  value["deviation_high_deg"] = compared ? number(deviation.high) : Json();
  value["confidence"] = number(final.confidence);
  value["start_s"] = seconds(final.start_s);
  value["end_s"] = seconds(final.end_s);
  value["rests_on_anchor"] = final.rests_on_anchor;
  return value;
}

Json episode_value(const outcome::Episode& episode) {
  Json still = Json::array();
  for (const outcome::StillStretch& stretch : episode.still) {
    const IntervalDeg axis = axis_deg(stretch.axis);
    still.push_back({{"start_s", seconds(stretch.start_s)},
                     {"end_s", seconds(stretch.end_s)},
                     {"axis_deg", number(axis.value)},
                     {"low_deg", number(axis.low)},
                     {"high_deg", number(axis.high)},
                     {"share_read", number(stretch.share_read)},
                     {"rests_on_anchor", stretch.rests_on_anchor}});
  }
  return {{"lens", word(episode.lens)},
          {"start_s", seconds(episode.start_s)},
          {"end_s", seconds(episode.end_s)},
          {"still", still}};
}

Json reference_value(const outcome::ReferenceFinding& finding) {
  Json ink = Json::array();
  for (const outcome::InkMark& mark : finding.ink)
    ink.push_back(
        {{"meridian_deg",
          number(angle::deg_from_rad(angle::wrap_meridian(mark.stated_meridian_rad)))},
         {"found_deg", number(angle::deg_from_rad(angle::wrap_meridian(mark.found_meridian_rad)))},
         {"se_deg", degrees(mark.se_rad)},
         {"disagrees", mark.disagrees}});
  Json value = {{"kind", word(finding.kind)},
                {"found", finding.found},
                {"se_deg", finding.found ? degrees(finding.se_rad) : Json()},
                {"statement", finding.statement},
                {"ink", ink}};
  if (finding.kind == casefile::ReferenceKind::Photo)
    value["agreeing_sector_share"] = number(finding.agreeing_sector_share);
  return value;
}

Json part_value(const std::optional<outcome::Interval>& part) {
  if (!part) return nullptr;
  const IntervalDeg deviation = deviation_deg(*part);
  return {{"value_deg", number(deviation.value)},
          {"low_deg", number(deviation.low)},
          {"high_deg", number(deviation.high)}};
}

Json budget_value(const outcome::ErrorBudget& budget) {
  return {{"reference_marking", part_value(budget.reference_marking)},
          {"axis_marking", part_value(budget.axis_marking)},
          {"alignment", part_value(budget.alignment)},
          {"rotation_after_placement", part_value(budget.rotation_after_placement)},
          {"total", part_value(budget.total)}};
}

Json limits_value(const std::vector<outcome::Limitation>& limitations) {
  Json value = Json::array();
  for (const outcome::Limitation& limit : limitations)
    value.push_back({{"start_s", seconds(limit.start_s)},
                     {"end_s", seconds(limit.end_s)},
                     {"reason", limit.reason}});
  return value;
}

Json video_value(const outcome::VideoFacts& video) {
  return {{"width", video.width},
          {"height", video.height},
          {"duration_s", seconds(video.duration_s)},
          {"frame_rate", number(video.frame_rate)},
          {"frames", video.frames},
          {"passed_over_frames", video.passed_over_frames},
          {"damaged_packets", video.damaged_packets},
          {"concealed_frames", video.concealed_frames},
          {"interlaced", video.interlaced},
          {"codec", video.codec},
          {"notes", video.notes}};
}

Json pairs(const std::vector<std::pair<std::string, std::string>>& list) {
  Json value = Json::object();
  for (const auto& [name, content] : list) value[name] = content;
  return value;
}

Json run_value(const outcome::RunRecord& run) {
  return {{"version", run.program_version},    {"commit", run.commit},
          {"libraries", pairs(run.libraries)}, {"options", pairs(run.options)},
          {"case_sha256", run.case_sha256},    {"input_sha256", run.input_sha256},
          {"warnings", run.warnings}};
}

}  // namespace

std::optional<optics::RefractiveEffect> effect_of(const outcome::CaseOutcome& outcome) {
  if (!outcome.final) return std::nullopt;
  const outcome::Interval& axis = outcome.final->axis;
  // Keratometry and refraction have true axes; a relative one can't be set against them.
  const optics::StatedEye eye =
      outcome.axes_are_relative ? optics::StatedEye{} : outcome.stated.refraction;
  return optics::refractive_effect(eye, outcome.stated.lens.cylinder_D,
                                   {axis.value_rad, axis.low_rad, axis.high_rad},
                                   outcome.planned_axis_rad);
}

Json result_value(const outcome::CaseOutcome& outcome) {
  Json episodes = Json::array();
  for (const outcome::Episode& episode : outcome.episodes)
    episodes.push_back(episode_value(episode));
  Json references = Json::array();
  for (const outcome::ReferenceFinding& finding : outcome.references)
    references.push_back(reference_value(finding));
  const std::optional<optics::RefractiveEffect> effect = effect_of(outcome);
  return {{"schema_version", outcome::schema_version},
          {"program", "rhumb"},
          {"caution", outcome::caution},
          {"case", case_value(outcome.stated)},
          {"plan", plan_value(outcome)},
          {"final", final_value(outcome)},
          {"verdict", outcome.verdict},
          {"axes_are_relative", outcome.axes_are_relative},
          {"episodes", episodes},
          {"reference", references},
          {"error_budget", budget_value(outcome.budget)},
          {"refraction", effect ? refraction_value(*effect) : Json()},
          {"anchors", anchors_value(outcome)},
          {"reader_agreement", reader_agreement_value(outcome)},
          {"limits", limits_value(outcome.limitations)},
          {"video", video_value(outcome.video)},
          {"run", run_value(outcome.run)}};
}

std::string result_json(const outcome::CaseOutcome& outcome) {
  return result_value(outcome).dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

void write_result_json(const outcome::CaseOutcome& outcome, const std::filesystem::path& file) {
  files::write_whole(file, result_json(outcome));
}

}  // namespace rhumb::report
