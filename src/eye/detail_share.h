// How much of the ring's detail a picture shares with the atlas: what tells a right rotation from a
// wrong one.
#pragma once

#include <vector>

#include "eye/register.h"

namespace rhumb::eye {

// Share of the ring's sectors (0..1) whose fine contrast agrees with the atlas. In every row and
// sector the mean and the slope are removed first: an oval limbus, the fall of light and the
// outline of the pupil agree at any rotation, vessels and the fibres of the iris at one only.
// contrast and mask: level.shape.size() floats, as Aligner reads them under the pose that is
// judged.
double detail_share(const TemplateLevel& level, const std::vector<float>& contrast,
                    const std::vector<float>& mask);

}  // namespace rhumb::eye
