#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "angle/angle.h"
#include "casefile/parts.h"

namespace rhumb::casefile {
namespace {

// Meridians nearer than this could not be told apart as marks: ink dots are about half a millimetre
// wide, which is some 5 degrees of a limbus of 6 mm radius (common practice, no source).
constexpr double least_gap_deg = 5.0;
constexpr std::size_t most_meridians = 36;

double gap_deg(double a, double b) {
  return std::abs(angle::deg_from_rad(angle::wrap_rotation(angle::rad_from_deg(a - b))));
}

void read_ink(const CheckedTable& table, Reference& reference) {
  table.only({"kind", "meridians_deg"});
  const std::vector<double> stated = table.numbers("meridians_deg", meridian_bounds_deg);
  if (stated.empty())
    table.fail(table.has("meridians_deg") ? "meridians_deg" : "", "meridians_deg names no meridian",
               "add meridians_deg = [0.0, 180.0], the meridians at which ink was put");
  if (stated.size() > most_meridians)
    table.fail("meridians_deg", fmt::format("names {} meridians, above 36", stated.size()),
               "name the ink marks only");
  for (std::size_t i = 0; i < stated.size(); ++i) {
    for (std::size_t j = 0; j < i; ++j)
      if (gap_deg(stated[i], stated[j]) < least_gap_deg)
        table.fail("meridians_deg",
                   fmt::format("{:g} and {:g} lie nearer than 5 degrees", stated[j], stated[i]),
                   "name each ink mark once");
    reference.meridians_rad.push_back(angle::wrap_meridian(angle::rad_from_deg(stated[i])));
  }
}

void read_photo(const CheckedTable& table, Reference& reference, NamedFiles named) {
  table.only({"kind", "file", "horizontal_deg"});
  const auto files = named_files(table, "file", named, "photograph");
  if (files.size() != 1)
    table.fail(table.has("file") ? "file" : "", "a photo reference needs one photograph",
               "add file = \"upright.png\"");
  reference.photo = files[0];
  const double horizontal = table.number("horizontal_deg", meridian_bounds_deg).value_or(0.0);
  reference.photo_horizontal_rad = angle::wrap_meridian(angle::rad_from_deg(horizontal));
}

void read_previous_lens(const CheckedTable& table, Reference& reference) {
  table.only({"kind", "axis_deg"});
  const std::optional<double> axis = table.number("axis_deg", axis_bounds_deg);
  if (axis) reference.previous_axis_rad = angle::wrap_axis(angle::rad_from_deg(*axis));
}

Reference read_one(const CheckedTable& table, NamedFiles named) {
  constexpr ReferenceKind in_order[] = {ReferenceKind::Ink, ReferenceKind::Photo,
                                        ReferenceKind::PreviousLens, ReferenceKind::None};
  Reference reference;
  reference.kind = in_order[table.need_word("kind", {"ink", "photo", "previous-lens", "none"})];
  switch (reference.kind) {
    case ReferenceKind::Ink:
      read_ink(table, reference);
      break;
    case ReferenceKind::Photo:
      read_photo(table, reference, named);
      break;
    case ReferenceKind::PreviousLens:
      read_previous_lens(table, reference);
      break;
    case ReferenceKind::None:
      table.only({"kind"});
      break;
  }
  return reference;
}

void check_together(const CheckedTable& top, const std::vector<CheckedTable>& tables,
                    const std::vector<Reference>& found) {
  const auto count = [&](ReferenceKind kind) {
    return std::count_if(found.begin(), found.end(),
                         [&](const Reference& reference) { return reference.kind == kind; });
  };
  const CheckedTable& last = tables.back();
  if (count(ReferenceKind::None) > 0 && found.size() > 1)
    last.fail("kind", "\"none\" stands beside another reference", "remove the table with \"none\"");
  if (count(ReferenceKind::Ink) > 1)
    last.fail("kind", "\"ink\" stands twice", "put all meridians into one list");
  if (count(ReferenceKind::PreviousLens) > 1)
    last.fail("kind", "\"previous-lens\" stands twice", "keep one of them");
  if (count(ReferenceKind::PreviousLens) > 0 && !top.has("previous_lens"))
    last.fail("kind", "\"previous-lens\" needs to know that lens's marks",
              "add the table [previous_lens] with marks and marks_per_end");
}

}  // namespace

std::vector<Reference> references(const CheckedTable& top, NamedFiles named) {
  const std::vector<CheckedTable> tables = top.tables("reference");
  if (tables.empty())
    top.fail("", "the table [reference] is missing",
             "add it with kind = \"ink\", \"photo\", \"previous-lens\" or \"none\"");
  constexpr std::size_t most_references = 20;
  if (tables.size() > most_references)
    tables.back().fail("", "is one reference too many", "state at most 20");
  std::vector<Reference> found;
  found.reserve(tables.size());
  for (const CheckedTable& table : tables) found.push_back(read_one(table, named));
  check_together(top, tables, found);
  return found;
}

}  // namespace rhumb::casefile
