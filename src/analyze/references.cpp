#include "analyze/references.h"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "analyze/zero_meridian.h"
#include "angle/angle.h"
#include "reference/ink.h"
#include "reference/photo.h"

namespace rhumb::analyze {
namespace {

using angle::deg_from_rad;
using casefile::ReferenceKind;

struct Found {
  outcome::ReferenceFinding finding;
  std::optional<ZeroMeridian> zero;
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
  out.zero = ZeroMeridian{ReferenceKind::Ink, ink.zero_rad, ink.se_rad, false, {}};
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

Found by_previous_lens(const casefile::Reference& stated, const PreviousAxis& previous) {
  Found out;
  out.finding.kind = ReferenceKind::PreviousLens;
  out.finding.found = previous.found;
  if (!previous.found) {
    out.finding.statement = "The previous lens's marks could not be read.";
    return out;
  }
  const double axis = stated.previous_axis_rad.value_or(0.0);
  out.zero = ZeroMeridian{ReferenceKind::PreviousLens, axis - previous.atlas_rad, previous.se_rad,
                          !stated.previous_axis_rad, std::polar(1.0, 2.0 * axis)};
  out.finding.se_rad = previous.se_rad;
  out.finding.statement =
      fmt::format("The previous lens was read at the start to {:.2f} degrees (95 %)",
                  1.96 * deg_from_rad(previous.se_rad));
  if (stated.previous_axis_rad)
    out.finding.statement +=
        fmt::format("; its axis is stated as {:.0f} degrees.", deg_from_rad(axis));
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
  out.zero = ZeroMeridian{ReferenceKind::Photo, photo.zero_rad, photo.se_rad, false, {}};
  out.finding.se_rad = photo.se_rad;
  out.finding.agreeing_sector_share =
      static_cast<double>(photo.agreeing_sectors) / eye::ring_match_sectors;
  out.finding.statement = fmt::format(
      "The upright photograph matches the recording in {} of {} sectors and fixes the meridians to "
      "{:.2f} degrees "
      "(95 %).",
      photo.agreeing_sectors, eye::ring_match_sectors, 1.96 * deg_from_rad(photo.se_rad));
  return out;
}

void tie_by(Tie& tie, const std::vector<Found>& found) {
  std::vector<ZeroMeridian> zeros;
  for (const Found& one : found)
    if (one.zero) zeros.push_back(*one.zero);
  const auto combined = combine(zeros);
  if (!combined) return;
  tie.zero_rad = combined->rad;
  tie.zero_se_rad = combined->se_rad;
  tie.doubled_meridians = combined->doubled_meridians;
  tie.axes_are_relative = combined->relative;
  tie.reference_marking = combined->reference_marking;
  if (combined->disagree_by_rad > 0.0)
    tie.warnings.push_back(
        fmt::format("The references disagree by more than their uncertainties (up to {:.1f} "
                    "degrees from their mean); the "
                    "intervals were widened.",
                    deg_from_rad(combined->disagree_by_rad)));
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
        found.push_back(by_previous_lens(one, previous));
        break;
      case ReferenceKind::Photo:
        found.push_back(by_photo(one, atlas));
        break;
      case ReferenceKind::None:
        break;
    }
    only_none = only_none && one.kind == ReferenceKind::None;
  }
  tie_by(tie, found);
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
  for (Found& one : found) {
    if (one.zero && one.zero->relative)
      one.finding.statement +=
          tie.axes_are_relative
              ? "; all axes are relative to it."
              : "; its axis is not stated, so it takes no part beside the other references.";
    tie.findings.push_back(std::move(one.finding));
  }
  return tie;
}

}  // namespace rhumb::analyze
