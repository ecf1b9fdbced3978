#include "analyze/anchors.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "analyze/placed_anchor.h"
#include "angle/angle.h"

namespace rhumb::analyze {
namespace {

using outcome::Interval;
using outcome::LensState;
using outcome::TimelineRow;

constexpr double z95 = 1.959963985;
constexpr double widest_half_rad =
    0.07;  // as for the program's own axes: vaguer ones are not given

// What all anchors that reach a row say together.
struct Joined {
  double axis_rad = 0.0;
  double se_rad = 1e3;
  double lies_still = 0.0;
  LensState lens = LensState::New;
  bool at_odds = false;
};

std::optional<Joined> join(const std::vector<PlacedAnchor>& anchors, std::size_t row) {
  std::vector<std::pair<double, double>> found;  // axis, own variance
  Joined joined;
  double common_var = 0.0;
  for (const PlacedAnchor& placed : anchors) {
    const Carried* one = placed.axis_known ? placed.at(row) : nullptr;
    if (one == nullptr) continue;
    if (found.empty()) joined.lens = placed.lens;
    found.emplace_back(one->axis_rad, one->own_var);
    common_var = std::max(common_var, placed.common_var);
    joined.lies_still = std::max(joined.lies_still, one->lies_still);
  }
  if (found.empty()) return std::nullopt;
  double weights = 0.0;
  double sum = 0.0;
  for (const auto& [axis, var] : found) {
    weights += 1.0 / var;
    sum += angle::wrap_deviation(axis - found[0].first) / var;
  }
  const double mean = found[0].first + sum / weights;
  double chi_square = 0.0;
  double worst = 0.0;
  for (const auto& [axis, var] : found) {
    const double off = angle::wrap_deviation(axis - mean);
    chi_square += off * off / var;
    worst = std::max(worst, std::abs(off));
  }
  const double freedom = static_cast<double>(found.size()) - 1.0;
  joined.at_odds = freedom > 0.0 && chi_square > freedom + 4.0 * std::sqrt(2.0 * freedom);
  joined.axis_rad = angle::wrap_axis(mean);
  joined.se_rad = std::sqrt(1.0 / weights + common_var + (joined.at_odds ? worst * worst : 0.0));
  return joined;
}

bool put(TimelineRow& row, const Joined& joined, std::optional<double> planned_axis_rad) {
  const double half = z95 * joined.se_rad;
  if (half > widest_half_rad) return false;
  if (row.axis && row.axis->high_rad - row.axis->value_rad <= half) return false;
  row.axis = Interval{joined.axis_rad, joined.axis_rad - half, joined.axis_rad + half};
  row.half_width_50_rad = 0.67448975 * joined.se_rad;  // of a normal distribution
  row.confidence =
      joined.lies_still * std::erf(angle::rad_from_deg(1.0) / (joined.se_rad * std::sqrt(2.0)));
  if (planned_axis_rad)
    row.deviation_rad = angle::wrap_deviation(joined.axis_rad - *planned_axis_rad);
  row.rests_on_anchor = true;
  row.why_not.clear();
  if (row.lens != LensState::Previous && row.lens != LensState::New) row.lens = joined.lens;
  return true;
}

void put_all(const std::vector<PlacedAnchor>& anchors, const RowInputs& inputs,
             std::vector<TimelineRow>& rows, AnchorReport& report) {
  double at_odds_s = -1e9;
  for (std::size_t k = 0; k < rows.size(); ++k) {
    const auto joined = join(anchors, k);
    if (!joined) continue;
    if (joined->at_odds && rows[k].time_s > at_odds_s + 1.0) {
      report.warnings.push_back(
          fmt::format("Marks set by hand disagree with each other about {:.1f} s by more than "
                      "clicks err; the interval was widened.",
                      rows[k].time_s));
    }
    if (joined->at_odds) at_odds_s = rows[k].time_s;
    if (!put(rows[k], *joined, inputs.planned_axis_rad)) continue;
    for (std::size_t i = 0; i < anchors.size(); ++i) {
      if (!anchors[i].axis_known || anchors[i].at(k) == nullptr) continue;
      outcome::HandReading& reading = report.readings[i];
      reading.used = true;
      if (!reading.from_s) reading.from_s = rows[k].time_s;
      reading.to_s = rows[k].time_s;
    }
  }
}

bool ink_was_used(const casefile::Case& stated, const PlacedAnchor& placed) {
  const std::size_t marks = ink_meridians(stated).size();
  return marks > 0 && placed.anchor->ink_px.size() == marks && placed.fault.empty() &&
         placed.pose.found;
}

std::string remark_of(const casefile::Case& stated, const PlacedAnchor& placed,
                      const outcome::HandReading& reading, const std::string& settled) {
  if (!placed.fault.empty()) return "Not used: " + placed.fault + ".";
  std::string text;
  const bool followed = std::count_if(placed.carried.begin(), placed.carried.end(),
                                      [](const Carried& one) { return one.followed; }) > 1;
  if (!placed.axis_known) {
    text = "No lens marks; ";
  } else if (!reading.used) {
    text = "Agrees with what the program reads more closely; ";
  } else {
    text = followed ? "Its marks were followed; " : "Its marks could not be followed; ";
    text +=
        fmt::format("frames from {:.2f} to {:.2f} s rest on it; ", *reading.from_s, *reading.to_s);
  }
  if (placed.pose_by_hand) text += "the eye's place there is from its limbus points; ";
  if (ink_was_used(stated, placed)) text += "its ink helps to fix the meridians; ";
  if (!settled.empty()) text += settled + "; ";
  text.resize(text.size() - 2);
  return text + ".";
}

outcome::EvidenceFrame evidence_of(const PlacedAnchor& placed, const RowInputs& inputs) {
  outcome::EvidenceFrame evidence;
  const SeenFrame& seen = inputs.pass.frames[*placed.row];
  evidence.frame = seen.index;
  evidence.time_s = seen.time_s;
  evidence.pose = placed.pose;
  evidence.lens = placed.lens;
  evidence.axis_atlas_rad = angle::wrap_axis(placed.axis_rad - inputs.tie.zero_rad);
  evidence.lens_centre_atlas = 0.5 * (placed.ends_atlas[0] + placed.ends_atlas[1]);
  evidence.marks_atlas = {placed.ends_atlas[0], placed.ends_atlas[1]};
  evidence.caption =
      "Marks set by hand" + (placed.anchor->reader.empty() ? "" : " by " + placed.anchor->reader);
  return evidence;
}

}  // namespace

AnchorReport apply_anchors(const casefile::Case& stated, const RowInputs& inputs,
                           std::vector<TimelineRow>& rows, const HandOptions& options) {
  AnchorReport report;
  std::vector<PlacedAnchor> anchors;
  for (const casefile::Anchor& anchor : stated.anchors) {
    anchors.push_back(place_anchor(stated, anchor, inputs, rows, options));
    if (anchors.back().axis_known) carry_anchor(anchors.back(), inputs, rows, options);
    outcome::HandReading reading{anchor.time_s, anchor.reader, false, {}, {}, {}, {}};
    if (anchors.back().axis_known) {
      const double half = z95 * std::sqrt(anchors.back().own_var + anchors.back().common_var);
      const double axis = anchors.back().axis_rad;
      reading.axis = Interval{axis, axis - half, axis + half};
    }
    report.readings.push_back(std::move(reading));
  }
  report.agreement = readers_agreement(anchors);
  const std::vector<std::string> settled = settle_contradictions(anchors, rows, report.warnings);
  put_all(anchors, inputs, rows, report);
  for (std::size_t i = 0; i < anchors.size(); ++i) {
    outcome::HandReading& reading = report.readings[i];
    const bool lens_used = reading.used;
    reading.remark = remark_of(stated, anchors[i], reading, settled[i]);
    if (!anchors[i].fault.empty())
      report.warnings.push_back(anchors[i].name + " was not used: " + anchors[i].fault + ".");
    if (lens_used && anchors[i].axis_known)
      report.evidence.push_back(evidence_of(anchors[i], inputs));
    reading.used = lens_used || ink_was_used(stated, anchors[i]);
  }
  return report;
}

void note_anchors(AnchorReport report, outcome::CaseOutcome& outcome, const HandOptions& options) {
  outcome.hand_click_sd_px = report.readings.empty() ? 0.0 : options.click_sd_px;
  outcome.hand_readings = std::move(report.readings);
  outcome.reader_agreement = std::move(report.agreement);
  outcome.run.warnings.insert(outcome.run.warnings.end(), report.warnings.begin(),
                              report.warnings.end());
  outcome.evidence.insert(outcome.evidence.end(), report.evidence.begin(), report.evidence.end());
  show_clear_frame(outcome);
  std::stable_sort(outcome.evidence.begin(), outcome.evidence.end(),
                   [](const auto& a, const auto& b) { return a.time_s < b.time_s; });
}

void show_clear_frame(outcome::CaseOutcome& outcome) {
  if (!outcome.evidence.empty()) return;
  const TimelineRow* best = nullptr;
  for (const TimelineRow& row : outcome.rows) {
    if (!row.pose.found || row.damaged) continue;
    // Of frames that show as much, the later one.
    if (best == nullptr || row.pose.ring_share >= best->pose.ring_share) best = &row;
  }
  if (best == nullptr) return;
  outcome::EvidenceFrame evidence;
  evidence.frame = best->frame;
  evidence.time_s = best->time_s;
  evidence.pose = best->pose;
  evidence.lens = best->lens;
  evidence.caption = "A frame in which the eye is clear; no axis was read in this recording";
  outcome.evidence.push_back(std::move(evidence));
}

}  // namespace rhumb::analyze
