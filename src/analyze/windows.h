// Half-second windows of straightened pupils: the moving things averaged away, the marks searched
// for without knowing what they look like, and then learned.
#pragma once

#include <array>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "lens/axis_search.h"
#include "lens/patch.h"
#include "lens/pupil.h"
#include "timeline/axis_model.h"

namespace rhumb::analyze {

struct WindowOptions {
  double window_s = 0.5;  // long enough to average, short enough for a lens being turned
  int most_patches = 12;  // of a window, spread over it
  std::size_t most_learned =
      240;  // windows that the marks are learned from, spread over the recording
  // Limbal radii inside the pupil's edge that are not read: a quarter of a patch's pixel. The edge
  // itself runs round the eye and is flattened like other rings.
  double pupil_margin = 0.002;
};

struct Window {
  std::size_t first_frame = 0;
  std::size_t frame_count = 0;
  bool usable = false;               // enough frames show the eye
  bool searched = false;             // it has been looked at for marks
  lens::ContrastMap contrast;        // kept only while it is needed
  cv::Mat1b inside;                  // pupil mask; empty when no pupil edge was found
  lens::ContrastMap light_contrast;  // the same, for marks lighter than the glow
  // By lens (0: previous, 1: new) and supposition of what its marks look like.
  std::array<std::vector<lens::AxisScores>, 2> scores;

  bool has_contrast() const { return usable && !contrast.usable.empty(); }
};

// How the marks of one lens show in this recording.
struct MarkSignature {
  lens::MarkProfile profile;
  Eigen::Vector2d centre = Eigen::Vector2d::Zero();  // typical lens centre, limbal radii
  bool light = false;                                // lighter than the glow
  int windows = 0;                                   // that it was learned from
  double likeness = 0.0;                             // correlation of its two ends' profiles
};

struct WindowReading {
  timeline::AxisPath path;              // a step a window
  std::vector<Eigen::Vector2d> centre;  // lens centre by window, where the path has a lens
  // By how much, on average over the stretch of windows in which the lens keeps its axis, that axis
  // is better supported than any other (log ratio of a window); 0 where the path has no lens.
  std::vector<float> lead;
  // The same over axes that no single mark could make from another centre.
  std::vector<float> lead_over_other_marks;
  // By lens (0: previous, 1: new): whether it is seen to come, to turn or to go; and the same where
  // one end of it hardly shows.
  std::array<bool, 2> changes{};
  std::array<bool, 2> clear_end_changes{};
  // By lens: at how many other meridians something looks like one of its ends (rival_ends.h).
  std::array<double, 2> rival_ends{};
  std::optional<MarkSignature> previous;
  std::optional<MarkSignature> current;
  std::vector<Window> windows;
  double log_ratio = 0.0;  // of the path with the learned signatures
};

struct LensPrior {
  bool previous_lens = false;
  bool any_pattern = false;  // the pattern stated is not looked for
  lens::StatedMarks current;
  lens::StatedMarks previous;
};

// Frames of a window that have a patch, spread evenly, at most `most`.
std::vector<std::size_t> frames_of(const Window& window, const lens::PatchStore& patches, int most);

// Searches the whole recording. `time_s` has an entry a stored patch.
WindowReading read_windows(const lens::PatchStore& patches, std::span<const double> time_s,
                           const LensPrior& prior, const WindowOptions& options, int threads);

inline constexpr lens::RadialGrid radial_grid{};

}  // namespace rhumb::analyze
