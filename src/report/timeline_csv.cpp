#include "report/timeline_csv.h"

#include <fmt/format.h>

#include <cmath>
#include <iterator>

#include "angle/angle.h"
#include "files/csv_field.h"
#include "files/partial_file.h"
#include "report/degrees.h"
#include "report/words.h"

namespace rhumb::report {
namespace {

using Buffer = fmt::memory_buffer;

void add_number(Buffer& out, double value, int decimals = 4) {
  out.push_back(',');
  if (!std::isfinite(value)) return;
  fmt::format_to(std::back_inserter(out), "{:.{}f}", rounded(value, std::pow(10.0, -decimals)),
                 decimals);
}

void add_empty(Buffer& out, int fields) {
  for (int i = 0; i < fields; ++i) out.push_back(',');
}

bool finite(const outcome::Interval& axis) {
  return std::isfinite(axis.value_rad) && std::isfinite(axis.low_rad) &&
         std::isfinite(axis.high_rad);
}

void add_eye(Buffer& out, const outcome::TimelineRow& row) {
  if (row.eye_found) {
    add_number(out, row.limbus_px.x());
    add_number(out, row.limbus_px.y());
    add_number(out, row.limbus_radius_px);
  } else {
    add_empty(out, 3);
  }
  if (row.eye_rotation_rad)
    add_number(out, angle::deg_from_rad(angle::wrap_rotation(*row.eye_rotation_rad)));
  else
    add_empty(out, 1);
}

void add_axis(Buffer& out, const outcome::TimelineRow& row) {
  if (!row.axis || !finite(*row.axis)) return add_empty(out, 7);
  const IntervalDeg axis = axis_deg(*row.axis);
  add_number(out, axis.value);
  add_number(out, axis.low);
  add_number(out, axis.high);
  add_number(out, row.confidence);
  if (row.deviation_rad)
    add_number(out,
               deviation_deg({*row.deviation_rad, *row.deviation_rad, *row.deviation_rad}).value);
  else
    add_empty(out, 1);
  const double half = angle::deg_from_rad(row.half_width_50_rad);
  add_number(out, axis.value - half);
  add_number(out, axis.value + half);
}

}  // namespace

std::string timeline_csv(const outcome::CaseOutcome& outcome) {
  Buffer out;
  out.append(std::string_view(
      "frame,time_s,lens,limbus_x_px,limbus_y_px,limbus_radius_px,eye_rotation_deg,axis_deg,"
      "axis_low_deg,axis_high_deg,confidence,deviation_deg,"
      "axis_low50_deg,axis_high50_deg,looked_at\r\n"));
  for (const outcome::TimelineRow& row : outcome.rows) {
    fmt::format_to(std::back_inserter(out), "{}", row.frame);
    add_number(out, row.time_s, 6);
    out.push_back(',');
    out.append(files::csv_field(word(row.lens)));
    add_eye(out, row);
    add_axis(out, row);
    out.append(std::string_view(row.looked_at ? ",1" : ",0"));
    out.append(std::string_view("\r\n"));
  }
  return fmt::to_string(out);
}

void write_timeline_csv(const outcome::CaseOutcome& outcome, const std::filesystem::path& file) {
  files::write_whole(file, timeline_csv(outcome));
}

}  // namespace rhumb::report
