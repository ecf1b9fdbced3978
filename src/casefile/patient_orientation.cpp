#include "casefile/patient_orientation.h"

#include <fmt/core.h>

#include "files/user_error.h"

namespace rhumb::casefile {
namespace {

constexpr Superior every_superior[] = {Superior::Top, Superior::Bottom, Superior::Left,
                                       Superior::Right};

}  // namespace

const char* superior_name(Superior superior) {
  constexpr const char* in_order[] = {"top", "bottom", "left", "right"};
  return in_order[static_cast<int>(superior)];
}

std::string orientation_of(Superior superior, bool mirrored) {
  // The upright picture (rows run to L, columns to F), turned by quarters.
  std::string rows, columns;
  switch (superior) {
    case Superior::Top:
      rows = "L", columns = "F";
      break;
    case Superior::Bottom:
      rows = "R", columns = "H";
      break;
    case Superior::Left:
      rows = "F", columns = "R";
      break;
    case Superior::Right:
      rows = "H", columns = "L";
      break;
  }
  if (mirrored) {
    // The forehead stays where it is stated to lie; left and right of the patient change places.
    std::string& side = rows == "L" || rows == "R" ? rows : columns;
    side = side == "L" ? "R" : "L";
  }
  return rows + "\\" + columns;
}

std::optional<PictureLie> lie_of(const std::string& patient_orientation) {
  const auto bar = patient_orientation.find('\\');
  if (bar == std::string::npos || bar == 0 || bar + 1 >= patient_orientation.size())
    return std::nullopt;
  // The first letter is the main direction, further ones say how it is inclined.
  const std::string main = {patient_orientation[0], '\\', patient_orientation[bar + 1]};
  for (const Superior superior : every_superior)
    for (const bool mirrored : {false, true})
      if (orientation_of(superior, mirrored) == main) return PictureLie{superior, mirrored};
  return std::nullopt;
}

void check_against_file(const StatedPicture& stated, const FileStatement& says,
                        const std::string& file) {
  const char* eye = stated.eye == Eye::Right ? "R" : "L";
  if ((says.laterality == "R" || says.laterality == "L") && says.laterality != eye)
    throw UserError(file, "laterality",
                    fmt::format("the file says {} eye, but {} is stated",
                                says.laterality == "R" ? "right" : "left",
                                stated.eye == Eye::Right ? "right" : "left"),
                    "name the right file, or correct eye");
  if (!says.date.empty() && !stated.date.empty() && says.date != stated.date)
    throw UserError(file, "date",
                    fmt::format("the file says {}, but {} is stated", says.date, stated.date),
                    "name the right file, or correct the date");
  const auto lie = lie_of(says.patient_orientation);
  if (lie && (lie->superior != stated.superior || lie->mirrored != stated.mirrored))
    throw UserError(
        file, "orientation",
        fmt::format("the file says that the forehead lies at the {}{}, but {}{} is stated",
                    superior_name(lie->superior), lie->mirrored ? ", mirrored" : "",
                    superior_name(stated.superior), stated.mirrored ? ", mirrored" : ""),
        fmt::format("write superior = \"{}\" and mirrored = {}, or export the file anew",
                    superior_name(lie->superior), lie->mirrored ? "true" : "false"));
}

}  // namespace rhumb::casefile
