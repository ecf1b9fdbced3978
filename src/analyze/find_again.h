// A lens that the path has lost, or has not yet found, by marks that were learned where it has it.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "analyze/place_lens.h"

namespace rhumb::analyze {

struct FoundAgain {
  std::size_t frame = 0;
  Place place;
  // How far both ends are turned against the templates about that place in the average; the
  // standard errors are a frame's share of it. None between two averages that show them.
  std::optional<EndPair> ends;
};

// Outwards from each stretch in which the path has this lens, fifths of a second in which it has
// none are averaged and looked through at all axes, about the centre where the lens rests, until
// 0.6 s show nothing. What two such pictures and more agree on, or one and the path beside it, a
// third as clear as the lens at rest, is the lens, unless the same shows at that axis while the
// lens rests elsewhere, or it would have been turned faster than a lens can be. Ascending by frame;
// axis and centre between the pictures are interpolated. `is_free`: an entry a frame, 1 where this
// lens may be. The same for any number of threads.
std::vector<FoundAgain> find_again(const LensFinder& finder, const Source& source,
                                   std::span<const double> time_s, std::span<const char> is_free,
                                   const Track& track, int threads);

}  // namespace rhumb::analyze
