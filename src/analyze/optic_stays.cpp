#include "analyze/optic_stays.h"

#include <algorithm>
#include <cstdint>
#include <opencv2/imgproc.hpp>
#include <optional>

#include "analyze/parallel.h"

namespace rhumb::analyze {
namespace {

using outcome::LensState;
using outcome::TimelineRow;

constexpr int most_patches = 6;       // of a window
constexpr double glare_luma = 220.0;  // about as bright as the picture can show
constexpr int beside_glare_px = 3;    // its halo, 0.02 limbal radii

// Shares of the circle: between what was taken for an edge where there was no lens (0.19 at most in
// five given recordings) and what a drawn lens without marks showed (0.24 to 0.31; given ones show
// more). Others overlap: docs/accuracy.md.
constexpr double least_seen = 0.22;
// Where half of the circle could be seen and next to nothing of it is, there is none.
constexpr double least_room_if_missing = 0.5;
constexpr double most_if_missing = 0.12;
constexpr int least_windows = 4;          // two seconds: a passing instrument's edge is shorter
constexpr int least_windows_missing = 2;  // one second

lens::OpticEdge optic_in(const Window& window, const lens::PatchStore& patches,
                         double optic_radius) {
  const lens::PatchGeometry& geometry = patches.geometry();
  const cv::Size size(geometry.size_px, geometry.size_px);
  cv::Mat1f luma(size, 0.0F);
  cv::Mat1b hidden(size, static_cast<std::uint8_t>(0));
  const std::vector<std::size_t> frames = frames_of(window, patches, most_patches);
  if (frames.empty()) return {};
  for (const std::size_t frame : frames) {
    const lens::Patch patch = patches.at(frame);
    cv::accumulate(patch.luma, luma);
    hidden |= (patch.luma >= glare_luma) | (patch.luma == 0);
  }
  luma /= static_cast<double>(frames.size());
  const int side = 2 * beside_glare_px + 1;
  cv::dilate(hidden, hidden, cv::getStructuringElement(cv::MORPH_ELLIPSE, {side, side}));
  cv::Mat1b usable;
  cv::bitwise_not(hidden, usable);
  cv::Mat1b inside;  // a pixel short of the pupil's edge, which is no optic's
  if (!window.inside.empty()) cv::erode(window.inside, inside, cv::Mat());
  return lens::find_optic_edge(luma, usable, inside, geometry, optic_radius);
}

enum class Shows : std::uint8_t { Unclear, Missing, Seen };

Shows shows(const lens::OpticEdge& optic) {
  if (optic.share >= least_seen) return Shows::Seen;
  return optic.room >= least_room_if_missing && optic.share <= most_if_missing ? Shows::Missing
                                                                               : Shows::Unclear;
}

bool lacks_lens(const TimelineRow& row) {
  return !row.axis && (row.lens == LensState::None || row.lens == LensState::Unknown);
}

}  // namespace

std::vector<OpticWindow> look_for_optic(const lens::PatchStore& patches,
                                        std::span<const double> time_s,
                                        std::span<const Window> windows, double optic_radius,
                                        int threads) {
  std::vector<OpticWindow> out(windows.size());
  for_each_index(windows.size(), threads, [&](std::size_t k) {
    const Window& window = windows[k];
    out[k] = {time_s[window.first_frame], time_s[window.first_frame + window.frame_count - 1],
              optic_in(window, patches, optic_radius)};
  });
  return out;
}

std::vector<OpticStay> optic_stays(std::span<const OpticWindow> windows) {
  std::vector<OpticStay> stays;
  std::optional<OpticStay> stay;
  int seen = 0;     // windows of this stay
  int missing = 0;  // windows in a row, but for unclear ones
  const auto close = [&](bool left) {
    if (stay) stay->left = left;
    if (stay && seen >= least_windows) stays.push_back(*stay);
    stay.reset();
    seen = 0;
  };
  for (const OpticWindow& window : windows) {
    const Shows shown = shows(window.optic);
    if (shown == Shows::Missing && ++missing >= least_windows_missing) close(true);
    if (shown != Shows::Seen) continue;
    if (!stay) stay = OpticStay{window.start_s, 0.0, missing >= least_windows_missing, false};
    stay->end_s = window.end_s;
    missing = 0;
    ++seen;
  }
  const bool left = missing >= least_windows_missing;
  if (stay && !left) stay->end_s = windows.back().end_s;
  close(left);
  return stays;
}

bool new_lens_is_read(std::span<const TimelineRow> rows) {
  return std::any_of(rows.begin(), rows.end(),
                     [](const TimelineRow& row) { return row.axis && row.lens == LensState::New; });
}

void note_unread_lens(std::span<const OpticStay> stays, bool previous_lens,
                      std::vector<TimelineRow>& rows) {
  double previous_until_s = -1.0;
  for (const TimelineRow& row : rows)
    if (row.lens == LensState::Previous) previous_until_s = row.time_s;
  for (const OpticStay& stay : stays) {
    const bool is_new =
        stay.arrived && !stay.left &&
        (!previous_lens || (previous_until_s >= 0.0 && stay.start_s > previous_until_s));
    for (TimelineRow& row : rows) {
      if (row.time_s < stay.start_s || row.time_s > stay.end_s || !lacks_lens(row)) continue;
      row.lens = is_new ? LensState::New : LensState::Unknown;
      row.why_not = "a lens is seen, but its marks are not clear enough";
    }
  }
}

}  // namespace rhumb::analyze
