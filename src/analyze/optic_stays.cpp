#include "analyze/optic_stays.h"

#include <algorithm>
#include <cstdint>
#include <opencv2/imgproc.hpp>
#include <optional>

#include "analyze/parallel.h"
#include "lens/pupil.h"

namespace rhumb::analyze {
namespace {

using outcome::LensState;
using outcome::TimelineRow;

constexpr double window_s = 0.5;
constexpr std::size_t most_patches = 6;  // of a window, spread over it
constexpr double glare_luma = 220.0;     // about as bright as the picture can show
constexpr int beside_glare_px = 3;       // its halo, 0.02 limbal radii
constexpr double pupil_margin = 0.01;    // limbal radii

// Shares of the circle. Without a lens 0.19 at most were taken for one's edge in five practice and
// hard recordings; with one 0.24 to 1.0 where it lies in the pupil and nothing over it.
constexpr double least_seen = 0.22;
// Where half of the circle could be seen and next to nothing of it is, there is none.
constexpr double least_room_if_missing = 0.5;
constexpr double most_if_missing = 0.12;
constexpr int least_windows = 4;          // two seconds: a passing instrument's edge is shorter
constexpr int least_windows_missing = 2;  // one second

lens::OpticEdge optic_in(const lens::PatchStore& patches, const std::vector<std::size_t>& frames,
                         double optic_radius) {
  const lens::PatchGeometry& geometry = patches.geometry();
  const cv::Size size(geometry.size_px, geometry.size_px);
  cv::Mat1f luma(size, 0.0F), saturation(size, 0.0F);
  cv::Mat1b hidden(size, static_cast<std::uint8_t>(0));
  const std::size_t count = std::min(most_patches, frames.size());
  for (std::size_t k = 0; k < count; ++k) {
    const lens::Patch patch = patches.at(frames[(2 * k + 1) * frames.size() / (2 * count)]);
    cv::accumulate(patch.luma, luma);
    cv::accumulate(patch.saturation, saturation);
    hidden |= (patch.luma >= glare_luma) | (patch.luma == 0);
  }
  luma /= static_cast<double>(count);
  saturation /= static_cast<double>(count);
  const int side = 2 * beside_glare_px + 1;
  cv::dilate(hidden, hidden, cv::getStructuringElement(cv::MORPH_ELLIPSE, {side, side}));
  cv::Mat1b inside;
  if (const auto pupil = lens::find_pupil(luma, saturation, geometry))
    inside = lens::pupil_mask(*pupil, pupil_margin, geometry);
  cv::Mat1b usable;
  cv::bitwise_not(hidden, usable);
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
                                        std::span<const double> time_s, double optic_radius,
                                        int threads) {
  std::vector<OpticWindow> windows;
  std::vector<std::vector<std::size_t>> frames;
  for (std::size_t k = 0; k < time_s.size(); ++k) {
    if (windows.empty() || time_s[k] >= windows.back().start_s + window_s - 1e-6) {
      windows.push_back({time_s[k], time_s[k], {}});
      frames.emplace_back();
    }
    windows.back().end_s = time_s[k];
    if (patches.has(k)) frames.back().push_back(k);
  }
  for_each_index(windows.size(), threads, [&](std::size_t k) {
    if (!frames[k].empty()) windows[k].optic = optic_in(patches, frames[k], optic_radius);
  });
  return windows;
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
