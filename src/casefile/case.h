// What a user states about one operation or one follow-up series, as checked values.
#pragma once

#include <array>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "optics/stated.h"

namespace rhumb::casefile {

enum class Eye { Right, Left };
enum class Superior {
  Top,
  Bottom,
  Left,
  Right
};  // where the patient's forehead lies in the picture
enum class MarkKind { Dots, Lines };
enum class ReferenceKind { Ink, Photo, PreviousLens, None };

struct PointPx {
  double x = 0.0;
  double y = 0.0;
};

struct VideoSource {
  std::vector<std::filesystem::path>
      files;  // parts of one recording, in order; absolute or relative to cwd
  Superior superior = Superior::Top;
  bool mirrored = false;
};

struct Plan {
  std::optional<double> axis_rad;                // [0, pi)
  std::optional<double> from_previous_lens_rad;  // signed turn from the previous lens's axis
  std::optional<double> tolerance_rad;
  bool target_ink = false;
};

struct Reference {
  ReferenceKind kind = ReferenceKind::None;
  std::vector<double> meridians_rad;        // ink
  std::filesystem::path photo;              // photo
  double photo_horizontal_rad = 0.0;        // photo: meridian that points to the picture's right
  std::optional<double> previous_axis_rad;  // previous-lens
};

struct LensMarks {
  MarkKind marks = MarkKind::Dots;
  int marks_per_end = 3;
  std::optional<double> optic_mm;
  std::optional<double> cylinder_D;  // at the lens plane
};

struct Anchor {
  double time_s = 0.0;
  std::string reader;                  // optional code of who clicked
  std::vector<PointPx> lens_marks_px;  // empty or two
  std::vector<PointPx> limbus_px;      // empty or five and more
  std::vector<PointPx> ink_px;         // empty or one a meridian, in the order of meridians_deg
  int line = 0;                        // of the case file, for messages
};

struct Case {
  std::filesystem::path file;
  std::string id;
  Eye eye = Eye::Right;
  std::string operator_code;  // empty when not stated
  std::string date;           // ISO 8601 or empty
  VideoSource video;
  Plan plan;
  std::vector<Reference> references;  // one or more; [reference] may hold a list
  LensMarks lens;
  std::optional<LensMarks> previous_lens;
  std::optional<double> white_to_white_mm;
  std::vector<Anchor> anchors;
  optics::StatedEye refraction;  // keratometry, refraction, lens power: all optional
};

struct Visit {
  std::string label;
  std::string date;
  std::vector<std::filesystem::path> images;
  Superior superior = Superior::Top;
  bool mirrored = false;
};

struct Series {
  std::filesystem::path file;
  std::string id;
  Eye eye = Eye::Right;
  LensMarks lens;
  std::optional<double> plan_axis_rad;
  std::vector<Visit> visits;
  std::filesystem::path
      operation;  // outcome folder or case file of the operation as visit zero, or empty
};

}  // namespace rhumb::casefile
