#include <fmt/core.h>

#include <cmath>

#include "casefile/parts.h"

namespace rhumb::casefile {
namespace {

constexpr Bounds time_bounds_s{0.0, 1e6, "seconds"};
constexpr Bounds pixel_bounds{-1e5, 1e5, "pixels"};
constexpr std::size_t least_limbus_points = 5;  // an ellipse has five parameters

std::vector<PointPx> points(const CheckedTable& table, const std::string& key) {
  std::vector<PointPx> found;
  for (const auto& [x, y] : table.pairs(key, pixel_bounds)) found.push_back({x, y});
  return found;
}

void check_lens_marks(const CheckedTable& table, const std::vector<PointPx>& ends) {
  if (!table.has("lens_marks_px")) return;
  if (ends.size() != 2)
    table.fail("lens_marks_px", fmt::format("holds {} points", ends.size()),
               "give two, one at each end of the marked meridian");
  constexpr double least_apart_px = 2.0;  // nearer ends give no direction
  if (std::hypot(ends[0].x - ends[1].x, ends[0].y - ends[1].y) < least_apart_px)
    table.fail("lens_marks_px", "holds the same point twice",
               "give both ends of the marked meridian");
}

void check_limbus(const CheckedTable& table, const std::vector<PointPx>& limbus) {
  if (table.has("limbus_px") && limbus.size() < least_limbus_points)
    table.fail("limbus_px", fmt::format("holds {} points, below 5", limbus.size()),
               "give five points or more, spread around the limbus");
}

void check_ink(const CheckedTable& table, const std::vector<PointPx>& ink,
               const std::vector<Reference>& references) {
  if (!table.has("ink_px")) return;
  std::size_t marks = 0;
  for (const Reference& reference : references)
    if (reference.kind == ReferenceKind::Ink) marks = reference.meridians_rad.size();
  if (marks == 0)
    table.fail("ink_px", "is given without an ink reference",
               "remove it, or add a [reference] with kind = \"ink\"");
  if (ink.size() != marks)
    table.fail("ink_px", fmt::format("holds {} points for {} meridians", ink.size(), marks),
               "give one point a meridian, in the order of meridians_deg");
}

Anchor read_one(const CheckedTable& table, const std::vector<Reference>& references) {
  table.only({"time_s", "reader", "lens_marks_px", "limbus_px", "ink_px"});
  Anchor anchor;
  anchor.line = table.line();
  anchor.time_s = table.need_number("time_s", time_bounds_s);
  anchor.reader = table.text("reader", most_code_characters).value_or("");
  anchor.lens_marks_px = points(table, "lens_marks_px");
  anchor.limbus_px = points(table, "limbus_px");
  anchor.ink_px = points(table, "ink_px");
  check_lens_marks(table, anchor.lens_marks_px);
  check_limbus(table, anchor.limbus_px);
  check_ink(table, anchor.ink_px, references);
  if (anchor.lens_marks_px.empty() && anchor.limbus_px.empty() && anchor.ink_px.empty())
    table.fail("", "marks nothing", "add lens_marks_px, limbus_px or ink_px, or remove the anchor");
  return anchor;
}

}  // namespace

std::vector<Anchor> anchors(const CheckedTable& top, const std::vector<Reference>& references) {
  std::vector<Anchor> found;
  for (const CheckedTable& table : top.tables("anchor"))
    found.push_back(read_one(table, references));
  return found;
}

}  // namespace rhumb::casefile
