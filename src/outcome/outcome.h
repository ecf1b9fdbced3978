// What one case comes to: the value that the analysis hands to the report, and that a grade reads
// back. Plain values, in radians, seconds and pixels; how they are written is the report's matter.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "casefile/case.h"
#include "eye/pose.h"

namespace rhumb::outcome {

inline constexpr int schema_version = 1;

enum class LensState { None, Previous, New, Unknown };

// An angle with its 95 % interval: low <= value <= high, not wrapped against each other.
struct Interval {
  double value_rad = 0.0;
  double low_rad = 0.0;
  double high_rad = 0.0;
};

// One row of timeline.csv. The axis is in the eye's meridians.
struct TimelineRow {
  std::int64_t frame = 0;
  double time_s = 0.0;
  bool damaged = false;
  bool looked_at = true;  // false: between two pictures of a fast recording
  LensState lens = LensState::Unknown;
  bool eye_found = false;
  eye::EyePose pose;
  Eigen::Vector2d limbus_px = Eigen::Vector2d::Zero();
  double limbus_radius_px = 0.0;
  std::optional<double> eye_rotation_rad;
  std::optional<Interval> axis;
  double half_width_50_rad = 0.0;  // the truth is as likely as not within it of the axis
  double confidence = 0.0;         // probability that the axis is within 1 degree of the truth
  std::optional<double> deviation_rad;
  bool moving = false;
  bool rests_on_anchor = false;
  std::string why_not;  // why no axis is given, empty where one is
};

struct StillStretch {
  double start_s = 0.0;
  double end_s = 0.0;
  Interval axis;
  double share_read = 0.0;  // of its frames
  bool rests_on_anchor = false;
};

struct Episode {
  LensState lens = LensState::New;
  double start_s = 0.0;
  double end_s = 0.0;
  std::vector<StillStretch> still;
};

struct FinalAxis {
  Interval axis;
  std::optional<Interval> deviation;
  double start_s = 0.0;
  double end_s = 0.0;
  double confidence = 0.0;
  bool rests_on_anchor = false;
};

struct InkMark {
  double stated_meridian_rad = 0.0;
  double found_meridian_rad = 0.0;  // in the eye's meridians, after the joint fit
  double se_rad = 0.0;
  bool disagrees = false;
};

struct ReferenceFinding {
  casefile::ReferenceKind kind = casefile::ReferenceKind::None;
  bool found = false;
  double se_rad = 0.0;  // standard error of the zero meridian that it gives
  std::vector<InkMark> ink;
  double agreeing_sector_share = 0.0;  // photo
  std::string statement;               // one plain sentence: what was found and how good it is
};

// Parts of the total deviation; only those that the recording supports. They add up to the total.
struct ErrorBudget {
  std::optional<Interval> reference_marking;
  std::optional<Interval> axis_marking;
  std::optional<Interval> alignment;
  std::optional<Interval> rotation_after_placement;
  std::optional<Interval> total;
};

// A moment worth showing: the frame that decided something, with what was found in it.
struct EvidenceFrame {
  std::int64_t frame = 0;
  double time_s = 0.0;
  bool is_key = false;  // the recording can be read from there
  std::string caption;
  eye::EyePose pose;
  double axis_atlas_rad = 0.0;  // of the marks, in the atlas
  Eigen::Vector2d lens_centre_atlas = Eigen::Vector2d::Zero();
  std::vector<Eigen::Vector2d> marks_atlas;  // single marks that were found
  LensState lens = LensState::New;
};

// An anchor of the case file and what became of it.
struct HandReading {
  double time_s = 0.0;
  std::string reader;  // code, may be empty
  bool used = false;
  std::optional<Interval> axis;  // of its two lens marks, in the eye's meridians
  std::optional<double> from_s;  // the rows that rest on it
  std::optional<double> to_s;
  std::string remark;  // one plain sentence: what it gave, or why it was not used
};

// How far two readers' marks lie apart, where both have marked one frame or one still stretch.
struct ReaderAgreement {
  std::string first;
  std::string second;
  int pairs = 0;
  double mean_rad = 0.0;           // second's axis minus first's
  double largest_rad = 0.0;        // without sign
  std::optional<Interval> limits;  // mean with its 95 % limits of agreement; from three pairs on
};

struct Limitation {
  double start_s = 0.0;
  double end_s = 0.0;
  std::string reason;
};

struct VideoFacts {
  int width = 0;
  int height = 0;
  double duration_s = 0.0;
  double frame_rate = 0.0;  // mean
  std::int64_t frames = 0;
  std::int64_t passed_over_frames = 0;  // of a fast recording: not looked at by themselves
  std::int64_t damaged_packets = 0;
  std::int64_t concealed_frames = 0;
  bool interlaced = false;
  std::string codec;
  std::vector<std::string> notes;  // what was lost, reduced or assumed, in plain words
  bool clock_as_recorded = true;  // no stamp was missing or repaired, and the clock never restarted
};

struct RunRecord {
  std::string program_version;
  std::string commit;
  std::vector<std::pair<std::string, std::string>> libraries;  // name, version
  std::vector<std::pair<std::string, std::string>> options;    // resolved, in a stated order
  std::string case_sha256;
  std::vector<std::string> input_sha256;  // one a video part, then photographs
  std::vector<std::string> warnings;
};

struct CaseOutcome {
  casefile::Case stated;
  VideoFacts video;
  std::vector<TimelineRow> rows;
  std::vector<Episode> episodes;
  std::optional<FinalAxis> final;
  std::string verdict;  // one plain sentence, also where nothing could be measured
  std::optional<double> planned_axis_rad;  // resolved, also from the previous lens
  double atlas_zero_meridian_rad =
      0.0;  // meridian of the atlas's x axis: eye meridian = atlas + this
  double atlas_zero_se_rad = 0.0;
  bool axes_are_relative =
      false;  // previous lens of unknown axis, or no reference: only changes count
  eye::LimbusEllipse limbus_in_atlas;  // in atlas units, y up (its angle counter-clockwise)
  std::vector<ReferenceFinding> references;
  ErrorBudget budget;
  std::vector<EvidenceFrame> evidence;
  std::vector<HandReading> hand_readings;  // one an anchor, in the order of the case file
  double hand_click_sd_px = 0.0;  // what a click was taken to be good to; 0 without anchors
  std::vector<ReaderAgreement> reader_agreement;
  std::vector<Limitation> limitations;
  RunRecord run;
};

}  // namespace rhumb::outcome
