// What a grade needs of one case's outcome folder, and the reason where it cannot be had.
//
// This room reads and writes files of degrees and computes no geometry, so it counts in degrees
// throughout.
#pragma once

#include <array>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace rhumb::grade {

// A value with its 95 % interval in degrees.
struct AngleDeg {
  double value = 0.0;
  double low = 0.0;
  double high = 0.0;
};

enum class BudgetPart { ReferenceMarking, AxisMarking, Alignment, RotationAfterPlacement };
inline constexpr std::size_t budget_parts = 4;
const char* name_of(BudgetPart part);  // as in result.json

// Why a case has no grade. None of them is a fail.
enum class NotGraded {
  No,              // it is graded
  Missing,         // no folder, no result.json, or the analysis did not run through
  Damaged,         // not JSON, or not what an outcome is
  NewerSchema,     // written by a newer program
  NoFinalAxis,     // the recording gives no axis at the end
  NoPlan,          // nothing to compare it with
  RelativeAxes,    // nothing ties the recording to the eye's meridians
  IntervalTooWide  // wider than the rubric allows
};
const char* name_of(NotGraded reason);  // "missing", "damaged", ...

struct CaseReading {
  std::string case_id;
  std::string eye;  // "right", "left" or empty
  std::string operator_code;
  std::string date;
  std::string verdict;
  std::optional<AngleDeg> axis;  // axis of the lens at the end, in [0, 180)
  std::optional<double> planned_deg;
  std::optional<AngleDeg> deviation;  // signed, in (-90, 90]
  std::optional<double> tolerance_deg;
  std::optional<double> confidence;
  bool rests_on_anchor = false;
  bool axes_are_relative = false;
  std::array<std::optional<AngleDeg>, budget_parts> budget;
  std::string program_version;
  NotGraded not_graded = NotGraded::No;
  std::string reason;  // one plain sentence where not_graded is not No
};

// Reads FOLDER/result.json. Never throws for what the folder holds: whatever is wrong comes back as
// reason. Files above `most_bytes` count as damaged.
CaseReading read_outcome(const std::filesystem::path& folder, std::size_t most_bytes = 64U << 20U);
// The same from text in memory.
CaseReading parse_outcome(const std::string& text);

}  // namespace rhumb::grade
