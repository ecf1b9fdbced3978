// An upright photograph taken before surgery as the reference: it ties the atlas to the eye's
// meridians.
//
// The photograph is registered to the atlas's own averaged picture by eye::match_rings. The
// photograph is taken as not mirrored; the atlas has the recorder's mirroring taken out already, so
// a photograph that was flipped, or one of the fellow eye, does not match and is refused.
#pragma once

#include <string>

#include "eye/atlas.h"
#include "eye/ring_match.h"
#include "reference/photo_file.h"

namespace rhumb::reference {

struct PhotoOptions {
  eye::RingMatchOptions match;
  double level_sd_rad = 0.0;  // how far "upright" may be off; not part of the measured error.
                              // Stated by the user only.
};

// eye meridian = atlas angle + zero_rad
struct PhotoFinding {
  bool found = false;
  double zero_rad = 0.0;
  double se_rad = 0.0;          // grows with the sectors that don't agree
  double agreeing_share = 0.0;  // of the patches of the ring with texture
  int agreeing_sectors = 0;     // of 24
  double evidence = 0.0;        // natural logarithm of the odds for one eye
  std::string why_not;          // one plain sentence
};

// horizontal_rad: the meridian that points to the photograph's right.
PhotoFinding find_photo(const eye::EyeAtlas& atlas, const Photo& photo, double horizontal_rad,
                        const PhotoOptions& options = {});

// The atlas's averaged ring as a picture ready for matching, upright, a limbal radius of 300
// pixels.
eye::RingView atlas_view(const eye::EyeAtlas& atlas);

// Matches a photograph to a view, trying in turn the rings that may be the photograph's limbus
// until one agrees in three quarters of the sectors; else gives the best of them.
// Gives the limbus that matched (or the likeliest) in `limbus`.
eye::RingMatch match_photo(const eye::RingView& view, const Photo& photo,
                           const eye::RingMatchOptions& options,
                           eye::LimbusEllipse* limbus = nullptr);

}  // namespace rhumb::reference
