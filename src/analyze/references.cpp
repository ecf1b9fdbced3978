#include "analyze/references.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "angle/angle.h"
#include "reference/ink.h"
#include "reference/photo.h"

namespace rhumb::analyze {
namespace {

using angle::deg_from_rad;
using casefile::ReferenceKind;

struct Zero {
  double rad = 0.0;
  double se_rad = 0.0;
  bool axis_only = false;  // known modulo a half turn, as from a lens
  std::complex<double> doubled_meridians;
};

struct Found {
  outcome::ReferenceFinding finding;
  std::optional<Zero> zero;
};

Found by_ink(const casefile::Reference& stated, const casefile::Plan& plan,
             const eye::EyeAtlas& atlas, Tie& tie) {
  Found out;
  out.finding.kind = ReferenceKind::Ink;
  const std::optional<double> target = plan.target_ink ? plan.axis_rad : std::nullopt;
  const auto ink = reference::find_ink(atlas, stated.meridians_rad, target);
  out.finding.found = ink.found;
  if (!ink.found) {
    out.finding.statement =
        "Ink marks were not found" + (ink.why_not.empty() ? "" : ": " + ink.why_not) + ".";
    return out;
  }
  out.zero = Zero{ink.zero_rad, ink.se_rad, false, {}};
  out.finding.se_rad = ink.se_rad;
  int clear = 0;
  std::string disagreeing;
  for (const auto& mark : ink.marks) {
    if (!mark.found) continue;
    ++clear;
    out.zero->doubled_meridians += std::polar(1.0, 2.0 * mark.stated_rad);
    out.finding.ink.push_back({mark.stated_rad, angle::wrap_meridian(mark.atlas_rad + ink.zero_rad),
                               mark.se_rad, mark.disagrees});
    if (mark.disagrees) {
      disagreeing += fmt::format(
          " The mark at {:.0f} degrees lies {:+.1f} degrees from where the others put it.",
          deg_from_rad(mark.stated_rad), deg_from_rad(mark.residual_rad));
    }
  }
  out.zero->doubled_meridians /= std::max(1, clear);
  out.finding.statement = fmt::format(
      "{} of {} ink marks found; together they fix the meridians to {:.2f} degrees (95 %).{}",
      clear, stated.meridians_rad.size(), 1.96 * deg_from_rad(ink.se_rad), disagreeing);
  if (ink.target && ink.target->found) {
    tie.target_ink_rad = angle::wrap_axis(ink.target->atlas_rad + ink.zero_rad);
    tie.target_ink_se_rad = std::hypot(ink.target->se_rad, ink.se_rad);
  }
  return out;
}

Found by_previous_lens(const casefile::Reference& stated, const PreviousAxis& previous, Tie& tie) {
  Found out;
  out.finding.kind = ReferenceKind::PreviousLens;
  out.finding.found = previous.found;
  if (!previous.found) {
    out.finding.statement = "The previous lens's marks could not be read.";
    return out;
  }
  const double axis = stated.previous_axis_rad.value_or(0.0);
  tie.axes_are_relative = tie.axes_are_relative || !stated.previous_axis_rad;
  out.zero = Zero{axis - previous.atlas_rad, previous.se_rad, true, std::polar(1.0, 2.0 * axis)};
  out.finding.se_rad = previous.se_rad;
  out.finding.statement =
      fmt::format("The previous lens was read at the start to {:.2f} degrees (95 %); {}",
                  1.96 * deg_from_rad(previous.se_rad),
                  stated.previous_axis_rad
                      ? fmt::format("its axis is stated as {:.0f} degrees.", deg_from_rad(axis))
                      : std::string("all axes are relative to it."));
  return out;
}

Found by_photo(const casefile::Reference& stated, const eye::EyeAtlas& atlas) {
  Found out;
  out.finding.kind = ReferenceKind::Photo;
  const auto photo = reference::find_photo(atlas, reference::read_photo(stated.photo),
                                           stated.photo_horizontal_rad);
  out.finding.found = photo.found;
  if (!photo.found) {
    out.finding.statement =
        "The upright photograph was not tied to the recording: " +
        (photo.why_not.empty() ? std::string("it does not match") : photo.why_not) + ".";
    if (out.finding.statement.ends_with("..")) out.finding.statement.pop_back();
    return out;
  }
  out.zero = Zero{photo.zero_rad, photo.se_rad, false, {}};
  out.finding.se_rad = photo.se_rad;
  out.finding.agreeing_sector_share = photo.agreeing_sectors / 24.0;
  out.finding.statement = fmt::format(
      "The upright photograph matches the recording in {} of 24 sectors and fixes the meridians to "
      "{:.2f} degrees "
      "(95 %).",
      photo.agreeing_sectors, 1.96 * deg_from_rad(photo.se_rad));
  return out;
}

// Combines by inverse variance; each against the first, modulo a half turn where only an axis is
// known.
void combine(Tie& tie, const std::vector<Found>& found) {
  double weight_sum = 0.0;
  double sum = 0.0;
  std::optional<double> first;
  double chi_square = 0.0;
  std::vector<std::pair<double, double>> used;
  for (const Found& one : found) {
    if (!one.zero) continue;
    double value = one.zero->rad;
    if (!first) {
      first = one.zero->axis_only ? angle::wrap_deviation(value) : angle::wrap_rotation(value);
      value = *first;
    } else {
      value = *first + (one.zero->axis_only ? angle::wrap_deviation(value - *first)
                                            : angle::wrap_rotation(value - *first));
    }
    const double se = std::max(1e-4, one.zero->se_rad);
    used.emplace_back(value, se);
    weight_sum += 1.0 / (se * se);
    sum += value / (se * se);
    tie.doubled_meridians += one.zero->doubled_meridians / (se * se);
  }
  if (used.empty()) return;
  tie.doubled_meridians /= weight_sum;
  tie.zero_rad = sum / weight_sum;
  tie.zero_se_rad = std::sqrt(1.0 / weight_sum);
  for (const auto& [value, se] : used) chi_square += std::pow((value - tie.zero_rad) / se, 2.0);
  const double freedom = static_cast<double>(used.size()) - 1.0;
  // 99 % points of chi square for 1, 2, 3 degrees of freedom (tables; from memory).
  constexpr std::array<double, 3> beyond = {6.63, 9.21, 11.34};
  if (freedom > 0.0 &&
      chi_square > beyond[static_cast<std::size_t>(std::min(2.0, freedom - 1.0))]) {
    double widest = 0.0;
    for (const auto& [value, se] : used) widest = std::max(widest, std::abs(value - tie.zero_rad));
    tie.zero_se_rad = std::max(tie.zero_se_rad, widest);
    tie.warnings.push_back(
        fmt::format("The references disagree by more than their uncertainties (up to {:.1f} "
                    "degrees from their mean); the "
                    "intervals were widened.",
                    deg_from_rad(widest)));
  }
}

}  // namespace

Tie tie_to_meridians(const casefile::Case& stated, const eye::EyeAtlas& atlas,
                     const PreviousAxis& previous, double first_rotation_rad) {
  Tie tie;
  std::vector<Found> found;
  bool only_none = true;
  for (const casefile::Reference& one : stated.references) {
    switch (one.kind) {
      case ReferenceKind::Ink:
        found.push_back(by_ink(one, stated.plan, atlas, tie));
        break;
      case ReferenceKind::PreviousLens:
        found.push_back(by_previous_lens(one, previous, tie));
        break;
      case ReferenceKind::Photo:
        found.push_back(by_photo(one, atlas));
        break;
      case ReferenceKind::None:
        break;
    }
    only_none = only_none && one.kind == ReferenceKind::None;
  }
  combine(tie, found);
  const bool any =
      std::any_of(found.begin(), found.end(), [](const Found& f) { return f.zero.has_value(); });
  tie.axes_can_be_given = any || only_none;
  if (only_none) {
    // Nothing ties the picture to the eye: axes count from the picture's horizontal in the first
    // clear frame.
    tie.zero_rad = first_rotation_rad;
    tie.axes_are_relative = true;
    outcome::ReferenceFinding finding;
    finding.kind = ReferenceKind::None;
    finding.statement =
        "Nothing ties the picture to the eye's meridians: only changes of the axis can be trusted.";
    tie.findings.push_back(finding);
  }
  tie.rotation_zero_rad = tie.axes_are_relative || !any ? first_rotation_rad : tie.zero_rad;
  if (!tie.axes_are_relative && any) {
    // A zero known modulo a half turn is taken on the side that leaves the eye upright.
    tie.rotation_zero_rad = angle::wrap_deviation(tie.zero_rad);
  }
  for (Found& one : found) tie.findings.push_back(std::move(one.finding));
  return tie;
}

}  // namespace rhumb::analyze
