// When a lens lies in the eye by its optic's edge, where its marks can't be read.
#pragma once

#include <span>
#include <vector>

#include "analyze/windows.h"
#include "lens/optic_edge.h"
#include "lens/patch.h"
#include "outcome/outcome.h"

namespace rhumb::analyze {

// A window of the recording. Without a picture of the eye `optic` has no room.
struct OpticWindow {
  double start_s = 0.0;
  double end_s = 0.0;
  lens::OpticEdge optic;
};

// `time_s` has an entry a stored patch; `optic_radius` in limbal radii, as seen through the cornea.
// Deterministic for any number of threads.
std::vector<OpticWindow> look_for_optic(const lens::PatchStore& patches,
                                        std::span<const double> time_s,
                                        std::span<const Window> windows, double optic_radius,
                                        int threads);

// A stretch of the recording in which an optic's edge is seen.
struct OpticStay {
  double start_s = 0.0;
  double end_s = 0.0;
  // Whether it was clearly not there before: an edge that is there from the start may be the
  // rhexis's.
  bool arrived = false;
  // Whether it is clearly not there after: a lens stays, what a nucleus or cortex shows goes.
  bool left = false;
};

// Where the edge is neither seen nor clearly missing (something lies over the pupil) a stay goes
// on.
std::vector<OpticStay> optic_stays(std::span<const OpticWindow> windows);

// Whether an axis of the new lens stands in any row.
bool new_lens_is_read(std::span<const outcome::TimelineRow> rows);

// Puts into the lens column what the stays say of rows without a lens. `previous_lens`: the case
// has one; then a lens that comes after its last row is the new one. Which one it is, or whether it
// is one, isn't known of an edge that was there from the start or goes again, nor where neither
// lens was read.
void note_unread_lens(std::span<const OpticStay> stays, bool previous_lens,
                      std::vector<outcome::TimelineRow>& rows);

}  // namespace rhumb::analyze
