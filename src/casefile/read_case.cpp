#include <exception>

#include "angle/angle.h"
#include "casefile/parts.h"
#include "casefile/read.h"

namespace rhumb::casefile {
namespace {

constexpr Bounds turn_bounds_deg{-180.0, 180.0, "degrees"};
constexpr Bounds tolerance_bounds_deg{0.1, 90.0, "degrees"};
// Human corneas measure 9 to 14 mm across, common practice, no source; a little room is left.
constexpr Bounds white_to_white_bounds_mm{8.0, 15.0, "mm"};

void read_identity(const CheckedTable& table, Case& stated) {
  table.only({"id", "eye", "operator", "date"});
  stated.id = table.need_text("id", most_code_characters);
  stated.eye = need_eye(table);
  stated.operator_code = table.text("operator", most_code_characters).value_or("");
  stated.date = table.date("date").value_or("");
}

VideoSource read_video(const CheckedTable& table, NamedFiles named) {
  table.only({"file", "superior", "mirrored"});
  VideoSource video;
  video.files = named_files(table, "file", named, "recording");
  if (video.files.empty()) table.fail("", "file is missing", "add file = \"video.mp4\"");
  video.superior = superior_from(table.need_word("superior", superior_words));
  video.mirrored = table.boolean("mirrored").value_or(false);
  return video;
}

Plan read_plan(const CheckedTable& table, const CheckedTable& top) {
  table.only({"axis_deg", "from_previous_lens_deg", "tolerance_deg", "target_ink"});
  Plan plan;
  const std::optional<double> axis = table.number("axis_deg", axis_bounds_deg);
  const std::optional<double> turn = table.number("from_previous_lens_deg", turn_bounds_deg);
  const std::optional<double> tolerance = table.number("tolerance_deg", tolerance_bounds_deg);
  if (axis && turn)
    table.fail("from_previous_lens_deg", "stands beside axis_deg", "keep one of the two");
  if (turn && !top.has("previous_lens"))
    table.fail("from_previous_lens_deg", "needs to know the previous lens's marks",
               "add the table [previous_lens] with marks and marks_per_end");
  plan.target_ink = table.boolean("target_ink").value_or(false);
  if (plan.target_ink && !axis && !turn)
    table.fail("target_ink", "is true without a planned axis",
               "add axis_deg or from_previous_lens_deg");
  if (axis) plan.axis_rad = angle::wrap_axis(angle::rad_from_deg(*axis));
  if (turn) plan.from_previous_lens_rad = angle::rad_from_deg(*turn);
  if (tolerance) plan.tolerance_rad = angle::rad_from_deg(*tolerance);
  return plan;
}

std::optional<double> read_anatomy(const CheckedTable& top) {
  const std::optional<CheckedTable> table = top.table("anatomy");
  if (!table) return std::nullopt;
  table->only({"white_to_white_mm"});
  return table->number("white_to_white_mm", white_to_white_bounds_mm);
}

}  // namespace

Case parse_case(std::string_view text, const std::filesystem::path& file, NamedFiles named) {
  const CheckedTable top = CheckedTable::parse(text, file);
  if (top.has("series") || top.has("visit"))
    top.fail("", "is a series of photographs", "give it to 'rhumb followup'");
  top.only({"case", "video", "plan", "reference", "lens", "previous_lens", "anatomy", "anchor",
            "keratometry", "refraction", "lens_power"});
  Case stated;
  stated.file = file;
  read_identity(top.need_table("case"), stated);
  stated.video = read_video(top.need_table("video"), named);
  if (const auto table = top.table("plan")) stated.plan = read_plan(*table, top);
  stated.references = references(top, named);
  stated.lens = lens_marks(top.need_table("lens"));
  if (const auto table = top.table("previous_lens")) stated.previous_lens = lens_marks(*table);
  stated.white_to_white_mm = read_anatomy(top);
  stated.anchors = anchors(top, stated.references);
  stated.refraction = stated_eye(top);
  return stated;
}

Case read_case(const std::filesystem::path& file) {
  return parse_case(read_text(file, "case file"), file);
}

}  // namespace rhumb::casefile
