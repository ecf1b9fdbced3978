// Where the lens's centre lies while its axis is refined: an error of it across the axis is a turn
// to whoever sees one end only.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "analyze/end_strips.h"
#include "analyze/track.h"

namespace rhumb::analyze {

// Moves each centre by what both ends say, averaged over time. `ends` as measured at the track's
// axes and centres, an entry an entry of the track.
void smooth_centres(Track& track, const std::vector<EndPair>& ends, const Levers& levers,
                    std::span<const double> time_s);

// Where one end alone is read its marks' own line says where the centre lies across the axis: moves
// every centre onto it, the axis with it, and gives the centre's standard error in limbal radii;
// nothing, and nothing moved, where the marks have no direction.
std::optional<double> centre_on_line(Track& track, const PairTemplate& form, bool end_a);

}  // namespace rhumb::analyze
