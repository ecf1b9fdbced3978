// The two ends of one lens's marks in every frame: averaged into what they look like, and measured
// against it.
#pragma once

#include <vector>

#include "analyze/track.h"
#include "analyze/windows.h"
#include "lens/mark_template.h"
#include "lens/patch.h"

namespace rhumb::analyze {

inline const lens::StripGeometry strip_geometry{};

struct PairTemplate {
  lens::MarkTemplate a;
  lens::MarkTemplate b;
};

struct Source {
  const lens::PatchStore& patches;
  const WindowReading& windows;
  bool light = false;            // marks lighter than the glow
  bool through_rings = false;    // strips are read on flattened rings, not only beside them
  std::vector<float> distances;  // at which the windows have seen them
};

// A frame's contrast as this lens's marks are read in it.
lens::ContrastMap contrast_of(const Source& source, const lens::Patch& patch);

// How far both ends about an axis and a centre (atlas) are turned against `form` in one frame.
EndPair measure_at(const Source& source, std::size_t frame, const lens::ContrastMap& map,
                   double axis_rad, const Eigen::Vector2d& centre, const PairTemplate& form);

// The same about centres moved along the axis by -steps .. steps of the radial grid. One strip an
// end serves them all.
std::vector<EndPair> measure_along(const Source& source, std::size_t frame,
                                   const lens::ContrastMap& map, double axis_rad,
                                   const Eigen::Vector2d& centre, const PairTemplate& form,
                                   int steps);

// What the two ends look like about the track's axes and centres, averaged over the frames `which`
// (indices into the track) with a weight each. The same for any number of threads.
PairTemplate teach(const Source& source, const Track& track, const std::vector<std::size_t>& which,
                   const std::vector<float>& weight, int threads);

// How far both ends are turned against `form` in the frames `which`; an entry a frame of the track,
// the others without anything seen.
std::vector<EndPair> measure(const Source& source, const Track& track, const PairTemplate& form,
                             const std::vector<std::size_t>& which, int threads);

}  // namespace rhumb::analyze
