#include <fmt/core.h>

#include <algorithm>

#include "angle/angle.h"
#include "casefile/parts.h"
#include "casefile/read.h"

namespace rhumb::casefile {
namespace {

constexpr std::size_t most_label_characters = 80;

std::vector<std::filesystem::path> visit_images(const CheckedTable& table, NamedFiles named) {
  if (table.has("image") && table.has("images"))
    table.fail("images", "stands beside image", "keep one of the two");
  const std::string key = table.has("images") ? "images" : "image";
  auto images = named_files(table, key, named, "photograph");
  if (images.empty()) table.fail("", "names no photograph", "add image = \"visit-1.png\"");
  if (key == "image" && images.size() > 1)
    table.fail("image", "is a list", "write images = [...] for several photographs");
  return images;
}

Visit read_visit(const CheckedTable& table, NamedFiles named) {
  table.only({"label", "date", "image", "images", "superior", "mirrored"});
  Visit visit;
  visit.label = table.need_text("label", most_label_characters);
  visit.date = table.date("date").value_or("");
  visit.images = visit_images(table, named);
  visit.superior = superior_from(table.word("superior", superior_words).value_or(0));
  visit.mirrored = table.boolean("mirrored").value_or(false);
  return visit;
}

// Visits stand in the order of time; labels tell them apart in the table that comes out.
void check_order(const CheckedTable& table, const std::vector<Visit>& before, const Visit& visit) {
  std::string last_date;
  for (const Visit& earlier : before) {
    if (earlier.label == visit.label)
      table.fail("label", "\"" + visit.label + "\" stands twice", "give each visit its own label");
    if (!earlier.date.empty()) last_date = earlier.date;
  }
  if (!visit.date.empty() && visit.date < last_date)
    table.fail("date", visit.date + " is before the visit above, " + last_date,
               "put the visits in the order of time");
}

std::vector<Visit> read_visits(const CheckedTable& top, NamedFiles named) {
  constexpr std::size_t most_visits = 200;
  const std::vector<CheckedTable> tables = top.tables("visit");
  if (tables.empty())
    top.fail("", "there is no visit", "add [[visit]] with a label and an image for each");
  if (tables.size() > most_visits)
    tables.back().fail("", "is one visit too many", "list at most 200");
  std::vector<Visit> visits;
  for (const CheckedTable& table : tables) {
    Visit visit = read_visit(table, named);
    check_order(table, visits, visit);
    visits.push_back(std::move(visit));
  }
  return visits;
}

// A case file, or the folder of outputs of an analysed operation.
std::filesystem::path read_operation(const CheckedTable& table, NamedFiles named) {
  const std::optional<std::string> name = table.text("operation", 1000);
  if (!name) return {};
  const std::filesystem::path folder = table.file().parent_path();
  std::filesystem::path found = (folder.empty() ? std::filesystem::path(".") : folder) / *name;
  std::error_code error;
  if (named == NamedFiles::MustExist && !std::filesystem::exists(found, error))
    table.fail("operation", "\"" + *name + "\" is not there",
               "name the case file or the folder of its outputs, relative to this file's folder");
  return found;
}

}  // namespace

Series parse_series(std::string_view text, const std::filesystem::path& file, NamedFiles named) {
  const CheckedTable top = CheckedTable::parse(text, file);
  if (top.has("case") || top.has("video"))
    top.fail("", "is the case of one operation", "give it to 'rhumb analyze'");
  top.only({"series", "lens", "plan", "visit"});
  Series series;
  series.file = file;
  const CheckedTable identity = top.need_table("series");
  identity.only({"id", "eye", "operation"});
  series.id = identity.need_text("id", most_code_characters);
  series.eye = need_eye(identity);
  series.operation = read_operation(identity, named);
  series.lens = lens_marks(top.need_table("lens"));
  if (const auto plan = top.table("plan")) {
    plan->only({"axis_deg"});
    const std::optional<double> axis = plan->number("axis_deg", axis_bounds_deg);
    if (axis) series.plan_axis_rad = angle::wrap_axis(angle::rad_from_deg(*axis));
  }
  series.visits = read_visits(top, named);
  return series;
}

Series read_series(const std::filesystem::path& file) {
  return parse_series(read_text(file, "series file"), file);
}

}  // namespace rhumb::casefile
