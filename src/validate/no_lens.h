// Eyes into which no lens comes, with what may look like one.
#pragma once

#include "render/rng.h"
#include "render/scene.h"
#include "validate/groups.h"

namespace rhumb::validate {

// No new lens comes: instruments work on in an empty eye, after a previous lens has been taken out
// if the scene has one. Any final would be false.
void leave_lens_out(render::Scene& scene, render::Rng& rng);

// A narrow pupil with crypts and vessels at its edge, which look like marks half under it.
void put_crypts_at_pupils_edge(render::Scene& scene, render::Rng& rng);

// Bubbles, bubbles in a ring, crypts at the pupil's edge. No level is mixed with other groups: an
// eye without a lens is one of the scenarios.
Group no_lens_group();

}  // namespace rhumb::validate
