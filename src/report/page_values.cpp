// The values of the page's sections, in the order of the page.
#include <fmt/format.h>
#include <fmt/ranges.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "angle/angle.h"
#include "outcome/caution.h"
#include "report/degrees.h"
#include "report/json_values.h"
#include "report/page.h"
#include "report/page_words.h"
#include "report/words.h"

namespace rhumb::report {
namespace {

// What fits on two sheets; the rest stands on the page alone.
constexpr std::size_t stretches_on_paper = 5;
constexpr std::size_t limits_on_paper = 3;
constexpr std::size_t remarks_on_paper = 3;

std::string capital(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z')
    text[0] = static_cast<char>(text[0] - 'a' + 'A');
  return text;
}

Json deviation_values(const outcome::FinalAxis& final) {
  if (!final.deviation) return nullptr;
  const IntervalDeg deviation = deviation_deg(*final.deviation);
  return {{"value", signed_text(deviation.value)},
          {"low", signed_text(deviation.low)},
          {"high", signed_text(deviation.high)},
          {"direction", direction_words(deviation.value)}};
}

Json final_values(const outcome::CaseOutcome& outcome) {
  if (!outcome.final) return nullptr;
  const outcome::FinalAxis& final = *outcome.final;
  const IntervalDeg axis = axis_deg(final.axis);
  return {{"axis", axis_text(axis.value)},
          {"low", axis_text(axis.low)},
          {"high", axis_text(axis.high)},
          {"deviation", deviation_values(final)},
          // Nobody is to read certainty into rounding.
          {"confidence", final.confidence > 0.99 ? "over 99" : percent_text(final.confidence)},
          {"confidence_words", confidence_words(final.confidence)},
          {"start", clock_text(final.start_s)},
          {"end", clock_text(final.end_s)},
          {"anchored", final.rests_on_anchor}};
}

// In words, because a point estimate inside or outside says too much when the interval crosses the
// edge.
std::string against_tolerance(const outcome::CaseOutcome& outcome) {
  const auto& tolerance = outcome.stated.plan.tolerance_rad;
  if (!tolerance || !outcome.final || !outcome.final->deviation) return {};
  const outcome::Interval& deviation = *outcome.final->deviation;
  const bool inside = std::abs(deviation.value_rad) <= *tolerance;
  const bool crosses = inside
                           ? deviation.low_rad < -*tolerance || deviation.high_rad > *tolerance
                           : deviation.low_rad <= *tolerance && deviation.high_rad >= -*tolerance;
  if (inside) return crosses ? "within, but the interval reaches outside" : "within";
  return crosses ? "outside, but the interval reaches inside" : "outside";
}

std::string relative_to(const outcome::CaseOutcome& outcome) {
  if (!outcome.axes_are_relative) return {};
  for (const outcome::ReferenceFinding& finding : outcome.references)
    if (finding.kind == casefile::ReferenceKind::PreviousLens && finding.found)
      return "Axes on this page count from the previous lens, whose own axis is not known.";
  return "Nothing ties this recording to the eye\u2019s true meridians: axes count from the "
         "picture\u2019s "
         "horizontal in the first clear frame, and so does what is said against a plan.";
}

Json cost_values(const std::optional<optics::RefractiveEffect>& effect) {
  if (!effect || !effect->deviation) return nullptr;
  const optics::DeviationCost& cost = *effect->deviation;
  return {{"residual", dioptre_text(cost.residual.cylinder_D.value)},
          {"residual_low", dioptre_text(cost.residual.cylinder_D.low)},
          {"residual_high", dioptre_text(cost.residual.cylinder_D.high)},
          {"share", percent_text(cost.lost_share.value)}};
}

Json still_rows(const outcome::CaseOutcome& outcome) {
  Json rows = Json::array();
  for (const outcome::Episode& episode : outcome.episodes)
    for (const outcome::StillStretch& still : episode.still) {
      const IntervalDeg axis = axis_deg(still.axis);
      rows.push_back({{"lens", capital(word(episode.lens))},
                      {"start_s", seconds(still.start_s)},
                      {"start", clock_text(still.start_s)},
                      {"end", clock_text(still.end_s)},
                      {"axis", axis_text(axis.value)},
                      {"low", axis_text(axis.low)},
                      {"high", axis_text(axis.high)},
                      {"share", percent_text(still.share_read)},
                      {"anchored", still.rests_on_anchor},
                      {"late", false}});
    }
  // The last ones matter most: they are kept on paper.
  for (std::size_t i = 0; i + stretches_on_paper < rows.size(); ++i) rows[i]["late"] = true;
  return rows;
}

Json ink_rows(const std::vector<outcome::ReferenceFinding>& references) {
  Json marks = Json::array();
  const auto meridian = [](double rad) {
    return fmt::format("{:.1f}", angle::deg_from_rad(angle::wrap_meridian(rad)));
  };
  for (const outcome::ReferenceFinding& finding : references)
    for (const outcome::InkMark& mark : finding.ink)
      marks.push_back({{"stated", meridian(mark.stated_meridian_rad)},
                       {"found", meridian(mark.found_meridian_rad)},
                       {"se", fmt::format("{:.1f}", angle::deg_from_rad(mark.se_rad))},
                       {"remark", mark.disagrees ? "disagrees with the others" : ""}});
  return marks.empty() ? Json() : Json{{"marks", marks}};
}

Json references(const std::vector<outcome::ReferenceFinding>& findings) {
  Json list = Json::array();
  for (const outcome::ReferenceFinding& finding : findings)
    list.push_back({{"statement", finding.statement}});
  return list;
}

Json budget_row(const char* name, const std::optional<outcome::Interval>& part) {
  Json values;
  if (part) {
    const IntervalDeg deviation = deviation_deg(*part);
    values = {{"value", signed_text(deviation.value)},
              {"low", signed_text(deviation.low)},
              {"high", signed_text(deviation.high)}};
  }
  return {{"name", name}, {"part", values}};
}

Json budget_rows(const outcome::ErrorBudget& budget) {
  return Json::array(
      {budget_row("Reference marks against the other references", budget.reference_marking),
       budget_row("Mark of the planned axis", budget.axis_marking),
       budget_row("Alignment of the lens when it first lay still", budget.alignment),
       budget_row("Rotation from there to the end", budget.rotation_after_placement),
       budget_row("Total", budget.total)});
}

Json limit_rows(const std::vector<outcome::Limitation>& limitations) {
  Json rows = Json::array();
  for (const outcome::Limitation& limit : limitations)
    rows.push_back({{"start_s", seconds(limit.start_s)},
                    {"start", clock_text(limit.start_s)},
                    {"end", clock_text(limit.end_s)},
                    {"reason", limit.reason},
                    {"late", rows.size() >= limits_on_paper}});
  return rows;
}

Json remarks(const std::vector<std::string>& texts) {
  Json list = Json::array();
  for (const std::string& text : texts)
    list.push_back({{"text", text}, {"late", list.size() >= remarks_on_paper}});
  return list;
}

std::string listed(const std::vector<std::pair<std::string, std::string>>& pairs,
                   const char* between) {
  std::vector<std::string> texts;
  for (const auto& [name, content] : pairs) texts.push_back(name + between + content);
  return fmt::format("{}", fmt::join(texts, ", "));
}

std::string video_line(const outcome::VideoFacts& video) {
  std::string line = fmt::format("{} × {} pixels, {} frames, {:.2f} a second, {}", video.width,
                                 video.height, video.frames, video.frame_rate, video.codec);
  if (video.passed_over_frames > 0)
    line += fmt::format(", {} of them looked at together with their neighbours only",
                        video.passed_over_frames);
  if (video.interlaced) line += ", interlaced";
  if (video.damaged_packets > 0)
    line += fmt::format(", {} damaged packets skipped", video.damaged_packets);
  if (video.concealed_frames > 0)
    line += fmt::format(", {} damaged frames", video.concealed_frames);
  return line;
}

void add_answer(Json& values, const outcome::CaseOutcome& outcome, const StillSet& stills) {
  const auto& tolerance = outcome.stated.plan.tolerance_rad;
  values["verdict"] = outcome.verdict;
  values["relative"] = relative_to(outcome);
  values["against_tolerance"] = against_tolerance(outcome);
  values["final"] = final_values(outcome);
  values["planned"] = outcome.planned_axis_rad
                          ? axis_text(angle::deg_from_rad(*outcome.planned_axis_rad))
                          : std::string();
  values["tolerance"] =
      tolerance ? fmt::format("{:.3g}", angle::deg_from_rad(*tolerance)) : std::string();
  values["gauge"] = gauge_values(outcome);
  values["eye_picture"] = eye_picture_values(outcome, stills);
}

void add_time(Json& values, const outcome::CaseOutcome& outcome, bool has_video) {
  values["has_video"] = has_video;
  values["marking_box"] = fmt::format("-0.5 -0.5 {} {}", std::max(1, outcome.video.width),
                                      std::max(1, outcome.video.height));
  values["duration"] = length_text(outcome.video.duration_s);
  values["duration_s"] = outcome.rows.empty() ? Json(0) : seconds(outcome.rows.back().time_s);
  values["plot_quantity"] = outcome.planned_axis_rad ? "deviation from the plan" : "axis";
  values["still"] = still_rows(outcome);
  values["has_episodes"] = !values["still"].empty();
}

void add_evidence(Json& values, const outcome::CaseOutcome& outcome, const StillSet& stills,
                  const std::string& stills_remark) {
  values["references"] = references(outcome.references);
  values["ink_marks"] = ink_rows(outcome.references);
  values["by_hand"] = by_hand_values(outcome);
  values["evidence"] = evidence_values(outcome, stills);
  values["has_evidence"] = !values["evidence"].empty();
  values["no_evidence"] =
      stills_remark.empty() ? "No frame of this recording decided anything." : stills_remark;
  values["budget"] = budget_rows(outcome.budget);
}

void add_effect(Json& values, const outcome::CaseOutcome& outcome) {
  const std::optional<optics::RefractiveEffect> effect = effect_of(outcome);
  values["cost"] = cost_values(effect);
  values["refraction"] = refraction_section(effect);
  values["no_refraction"] =
      outcome.final ? "The case states no cylinder of the lens, so nothing can be calculated."
                    : "Without a final axis nothing can be calculated.";
}

void add_limits(Json& values, const outcome::CaseOutcome& outcome) {
  const std::size_t count = outcome.limitations.size();
  values["limits"] = limit_rows(outcome.limitations);
  values["has_limits"] = count > 0;
  values["more_limits"] =
      count > limits_on_paper ? fmt::format("{}", count - limits_on_paper) : std::string();
  values["notes"] = remarks(outcome.video.notes);
  values["has_notes"] = !outcome.video.notes.empty();
}

void add_correction(Json& values, const casefile::Case& stated) {
  std::vector<std::string> order;
  for (const casefile::Reference& reference : stated.references)
    for (const double rad : reference.meridians_rad)
      order.push_back(fmt::format("{:.0f}°", angle::deg_from_rad(rad)));
  values["ink_count"] = !order.empty();
  values["ink_order"] = fmt::format("{}", fmt::join(order, ", "));
}

void add_run(Json& values, const outcome::CaseOutcome& outcome) {
  const outcome::RunRecord& run = outcome.run;
  values["version"] = run.program_version;
  values["commit"] = run.commit;
  values["libraries"] = listed(run.libraries, " ");
  values["options"] = listed(run.options, " = ");
  values["case_sha256"] = run.case_sha256;
  values["inputs"] = run.input_sha256;
  values["warnings"] = remarks(run.warnings);
  values["has_warnings"] = !run.warnings.empty();
  values["video_line"] = video_line(outcome.video);
}

}  // namespace

Json page_values(const outcome::CaseOutcome& outcome, const StillSet& stills, bool has_video,
                 const std::string& stills_remark) {
  Json values = {{"caution", outcome::caution},
                 {"id", outcome.stated.id},
                 {"eye", capital(word(outcome.stated.eye))},
                 {"date", outcome.stated.date},
                 {"operator", outcome.stated.operator_code}};
  add_answer(values, outcome, stills);
  add_time(values, outcome, has_video);
  add_evidence(values, outcome, stills, stills_remark);
  add_effect(values, outcome);
  add_limits(values, outcome);
  add_correction(values, outcome.stated);
  add_run(values, outcome);
  return values;
}

}  // namespace rhumb::report
