// Follow-up photographs of one eye: where the lens lies at each visit and how far it has turned.
#pragma once

#include <functional>
#include <optional>
#include <stop_token>
#include <string>
#include <vector>

#include "casefile/case.h"
#include "eye/pose.h"
#include "followup/joint.h"
#include "followup/photo_marks.h"
#include "outcome/outcome.h"
#include "reference/photo_file.h"

namespace rhumb::followup {

struct Operation;

struct SeriesOptions {
  int threads = 0;  // 0: one a core
  eye::RingMatchOptions match;
  MarkOptions marks;
  const Operation* operation = nullptr;  // visit zero, where the series names one
  double reading_floor_rad = 0.0014;     // 0.08 degrees: what no reading of marks is better than
  std::stop_token cancel;
  std::function<void(int done, int of)>
      progress;  // may be empty; called from several threads, one at a time
};

// One photograph, turned upright as its visit states.
struct PhotoResult {
  std::filesystem::path file;
  int visit = 0;
  bool from_operation = false;  // a frame of the recording; `file` then only names it
  cv::Mat upright_bgr;          // reduced to at most 1600 pixels wide, for the page
  double reduced = 1.0;         // its pixels per pixel of the photograph
  int width = 0, height = 0;
  std::optional<eye::LimbusEllipse> limbus;  // in the upright photograph's pixels
  std::vector<MarkCandidate> candidates;
  int chosen = -1;       // of the candidates
  bool matched = false;  // to the others
  double rotation_rad = 0.0;
  double rotation_se_rad = 0.0;
  // Where a point of the eye (limbal radii, x right, y up, in the first photograph's frame) lies,
  // in limbal radii of this photograph from its limbus centre: offset + linear * p.
  Eigen::Matrix2d linear = Eigen::Matrix2d::Identity();
  Eigen::Vector2d offset = Eigen::Vector2d::Zero();
  std::optional<double> axis_rad;
  double axis_se_rad = 0.0;
  std::string why_not;  // one plain sentence when no axis is given
};

struct VisitResult {
  std::string label;
  std::string date;
  std::optional<outcome::Interval> axis;
  std::optional<outcome::Interval> head_tilt;
  std::optional<outcome::Interval> drift;  // since the first visit
  std::optional<outcome::Interval> step;   // since the visit before
  std::string why_not;
};

struct SeriesOutcome {
  casefile::Series stated;
  std::vector<PhotoResult> photos;
  std::vector<Pair> pairs;
  std::vector<VisitResult> visits;
  // Axes have been turned by this, from the first photograph's horizontal to the eye's meridians as
  // the operation knows them; 0 without an operation.
  double zero_rad = 0.0;
  double zero_se_rad = 0.0;
  std::vector<std::string> notes;  // what was refused, assumed or at odds, in plain words
  std::string verdict;
  bool measured = false;  // at least one axis
};

// Reads the photographs and measures them. Throws UserError for photographs that can't be read or
// that contradict the series file (laterality, date), Interrupted when cancelled.
SeriesOutcome measure_series(const casefile::Series& series, const SeriesOptions& options);

}  // namespace rhumb::followup
