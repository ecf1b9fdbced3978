#include "cli/starter.h"

#include <fmt/core.h>

#include <algorithm>
#include <filesystem>

#include "files/user_error.h"

namespace rhumb::cli {
namespace {

constexpr const char* case_head =
    R"(# One operation. Fill in the empty texts "" and what else is known; lines that begin with # are asleep.
# Angles: degrees counter-clockwise from the examiner's right, looking at the eye from the front (ISO 8429),
# the same for right and left eyes. docs/casefile.md describes every key.
# For review after surgery. Not for guidance, diagnosis or treatment.

[case]
id  = ""                      # a code, never a name
eye = ""                      # right | left
# operator = "f03"            # a code
# date     = 2026-05-14       # the day of the operation

[video]
)";

constexpr const char* case_after_file =
    R"(superior = ""                 # where the patient's forehead lies in the picture: top | bottom | left | right
# mirrored = true             # when the recorder flips the picture left to right

# What was planned. Without it the axis is reported, but no deviation.
# [plan]
# axis_deg      = 112.0       # where the lens marks should end up
# from_previous_lens_deg = 18.0   # instead, in an exchange: by how much to turn against the previous lens
# tolerance_deg = 5.0
# target_ink    = false       # true when limbal ink was also put at the planned axis

# What ties the picture to the eye's meridians: ink | photo | previous-lens | none.
[reference]
kind = ""
# meridians_deg  = [0.0, 180.0]   # ink: where the limbal ink marks were put
)";

constexpr const char* case_tail =
    R"(# horizontal_deg = 0.0            # photo: the meridian that points to its right
# axis_deg       = 87.0           # previous-lens: its axis from the record; leave out if unknown

# What is printed at the two ends of the lens's marked meridian.
[lens]
marks = ""                    # dots | lines
# marks_per_end = 3           # dots: how many at one end, 1 to 4
# optic_mm      = 6.0
# cylinder_D    = 2.25        # at the lens plane; needed for the refractive effect

# Only in an exchange: the lens that was taken out.
# [previous_lens]
# marks = "lines"

# [anatomy]
# white_to_white_mm = 11.8    # gives millimetres

# For the refractive effect: keratometry before surgery, refraction after it, the lens's power.
# [keratometry]
# flat_D  = 42.75
# steep_D = 44.50
# steep_meridian_deg = 85
#
# [refraction]
# sphere_D   = -0.50
# cylinder_D = -1.25          # minus or plus cylinder, as it was written
# axis_deg   = 170
#
# [lens_power]
# sphere_equivalent_D = 21.5
)";

constexpr const char* series_head =
    R"(# Follow-up photographs of one eye. Fill in the empty texts ""; lines that begin with # are asleep.
# Angles: degrees counter-clockwise from the examiner's right, looking at the eye from the front (ISO 8429).
# docs/casefile.md describes every key.
# For review after surgery. Not for guidance, diagnosis or treatment.

[series]
id  = ""                      # a code, never a name
)";

constexpr const char* series_after_eye =
    R"(# operation = "case.toml"     # the operation's case file or output folder, as visit zero

# What is printed at the two ends of the lens's marked meridian.
[lens]
marks = ""                    # dots | lines
# marks_per_end = 3           # dots: how many at one end, 1 to 4

# [plan]
# axis_deg = 70.0

# One table a visit, in the order of time. Several photographs of one visit: images = ["a.png", "b.png"].
)";

std::string file_lines(const std::vector<SeenRecording>& recordings) {
  std::string text;
  for (const SeenRecording& recording : recordings)
    text += fmt::format("# {}: {}\n", one_line(recording.name, 120), one_line(recording.facts));
  if (recordings.size() == 1) return text + "file     = " + toml_text(recordings[0].name) + "\n";
  text += "# Several recordings lie here. Name the one of this operation, or its parts in order:\n";
  text += "file     = \"\"\n# file   = [";
  for (std::size_t i = 0; i < recordings.size(); ++i)
    text += (i == 0 ? "" : ", ") + toml_text(recordings[i].name);
  return text + "]\n";
}

// The eye, where every photograph states the same one.
std::string eye_line(const std::vector<SeenPhotograph>& photographs) {
  const bool stated =
      !photographs.empty() &&
      std::all_of(photographs.begin(), photographs.end(), [&](const SeenPhotograph& one) {
        return one.laterality && one.laterality == photographs[0].laterality;
      });
  if (!stated) return "eye = \"\"                      # right | left\n";
  return fmt::format("eye = \"{}\"   # as every file states\n",
                     *photographs[0].laterality == 'R' ? "right" : "left");
}

}  // namespace

std::string toml_text(const std::string& text) {
  std::string quoted = "\"";
  for (const char character : text) {
    const auto byte = static_cast<unsigned char>(character);
    if (character == '"' || character == '\\')
      (quoted += '\\') += character;
    else if (byte < 0x20 || byte == 0x7F)
      quoted += fmt::format("\\u{:04X}", byte);
    else
      quoted += character;
  }
  return quoted + '"';
}

std::string starter_case(const SeenFolder& seen) {
  std::string text = case_head + file_lines(seen.recordings) + case_after_file;
  if (seen.photographs.empty())
    text += "# file           = \"upright.png\"   # photo: taken upright, before surgery\n";
  for (const SeenPhotograph& photograph : seen.photographs) {
    text += fmt::format("# {}: {}\n", one_line(photograph.name, 120), one_line(photograph.facts));
    text += "# file           = " + toml_text(photograph.name) +
            "   # photo: if taken upright, before surgery\n";
  }
  return text + case_tail;
}

std::string starter_series(const SeenFolder& seen) {
  std::vector<SeenPhotograph> photographs = seen.photographs;
  const auto dated = [](const SeenPhotograph& one) { return !one.date.empty(); };
  const bool all_dated = std::all_of(photographs.begin(), photographs.end(), dated);
  if (all_dated)
    std::stable_sort(photographs.begin(), photographs.end(),
                     [](const auto& a, const auto& b) { return a.date < b.date; });
  std::string text = series_head + eye_line(photographs) + series_after_eye;
  text +=
      all_dated
          ? "# They stand here in the order of the dates that the files state.\n"
          : "# They stand here in the order of the files' names: set them in the order of time.\n";
  for (const SeenPhotograph& photograph : photographs) {
    const std::string label = std::filesystem::path(photograph.name).stem().string();
    text += "\n[[visit]]\n";
    text += fmt::format("# {}: {}\n", one_line(photograph.name, 120), one_line(photograph.facts));
    text += "label    = " + toml_text(label) + "\n";
    text += dated(photograph) ? "date     = " + photograph.date + "   # as the file states\n"
                              : std::string("# date   = 2026-05-15\n");
    text += "image    = " + toml_text(photograph.name) + "\n";
    text +=
        "# superior = \"top\"            # where the forehead lies: top (as when left out) | "
        "bottom | left | right\n";
    text += "# mirrored = true             # when the photograph is flipped left to right\n";
  }
  return text;
}

}  // namespace rhumb::cli
