#include "casefile/parts.h"

#include <system_error>

#include "files/user_error.h"

namespace rhumb::casefile {
namespace {

// Widths of sold lenses' optics lie between 5 and 7 mm, common practice, no source; room is left.
constexpr Bounds optic_bounds_mm{4.0, 8.0, "mm"};
constexpr Bounds lens_cylinder_bounds_D{0.1, 30.0, "dioptres at the lens plane"};

std::filesystem::path beside(const std::filesystem::path& file, const std::string& name) {
  const std::filesystem::path folder = file.parent_path();
  return (folder.empty() ? std::filesystem::path(".") : folder) / name;
}

void check_file(const CheckedTable& table, const std::string& key, const std::string& name,
                const std::filesystem::path& file, const std::string& what) {
  std::error_code error;
  const std::filesystem::file_status status = std::filesystem::status(file, error);
  const std::string shown = "\"" + one_line(name, 200) + "\"";
  const std::string mend = "name the " + what + " relative to this file's folder";
  if (!std::filesystem::exists(status)) table.fail(key, shown + " is not there", mend);
  if (std::filesystem::is_directory(status)) table.fail(key, shown + " is a folder", mend);
  if (!std::filesystem::is_regular_file(status))
    table.fail(key, shown + " is not an ordinary file", mend);
}

}  // namespace

Eye need_eye(const CheckedTable& table) {
  return table.need_word("eye", {"right", "left"}) == 0 ? Eye::Right : Eye::Left;
}

Superior superior_from(int word) {
  constexpr Superior in_order[] = {Superior::Top, Superior::Bottom, Superior::Left,
                                   Superior::Right};
  return in_order[word];
}

LensMarks lens_marks(const CheckedTable& table) {
  table.only({"marks", "marks_per_end", "optic_mm", "cylinder_D"});
  LensMarks lens;
  lens.marks = table.need_word("marks", {"dots", "lines"}) == 0 ? MarkKind::Dots : MarkKind::Lines;
  const std::optional<int> per_end = table.whole_number("marks_per_end", 1, 4);
  if (lens.marks == MarkKind::Lines) {
    if (per_end.value_or(1) != 1)
      table.fail("marks_per_end", "lines come one at each end", "write 1, or marks = \"dots\"");
    lens.marks_per_end = 1;
  } else {
    if (!per_end)
      table.fail("marks_per_end", "is missing",
                 "add marks_per_end = how many dots, 1 to 4, at an end");
    lens.marks_per_end = *per_end;
  }
  lens.optic_mm = table.number("optic_mm", optic_bounds_mm);
  lens.cylinder_D = table.number("cylinder_D", lens_cylinder_bounds_D);
  return lens;
}

std::vector<std::filesystem::path> named_files(const CheckedTable& table, const std::string& key,
                                               NamedFiles named, const std::string& what) {
  std::vector<std::filesystem::path> files;
  constexpr std::size_t most_files = 200;
  const std::vector<std::string> names = table.texts(key);
  if (names.size() > most_files) table.fail(key, "names more than 200 files", "name fewer");
  for (const std::string& name : names) {
    files.push_back(beside(table.file(), name));
    if (named == NamedFiles::MustExist) check_file(table, key, name, files.back(), what);
  }
  return files;
}

}  // namespace rhumb::casefile
