// The painted planes that an eye is put together from. Painted once a recording, sampled for every
// frame.
#pragma once

#include "render/optics.h"
#include "render/scene.h"
#include "render/texture.h"

namespace rhumb::render {

// Texels a millimetre for a picture of so many pixels a millimetre.
double texel_density(double px_per_mm);

// The sclera and conjunctiva in a stereographic map of the scleral sphere (conformal, so vessels
// keep their shape): a point with unit normal n lies at 2 R (n.x, n.y) / (1 + n.z). Channels: red,
// green, blue albedo (linear light), ink density.
Texture paint_sclera(const Scene& scene, const Surfaces& surfaces, double per_mm);
// Same map: slopes of the wet surface along x and y, blood, milky haze (hydrated incisions, arcus).
Texture paint_wetness(const Scene& scene, const Surfaces& surfaces, double per_mm);
// The iris plane: albedo, opacity (0 in the pupil).
Texture paint_iris(const Scene& scene, double per_mm);
// The lens capsule: transmission, scatter, edge brightness, speckle.
Texture paint_capsule(const Scene& scene, double per_mm);
// A lens in its own plane, marked meridian along +x: transmission, scatter, edge brightness, haptic
// cover.
Texture paint_lens(const Lens& lens, double per_mm, std::uint64_t key);
// What lies round the eye, in the scene's plane: premultiplied albedo and opacity.
Texture paint_surround(const Scene& scene, double per_mm);

// Where the limbus and other rings lie in the stereographic map: radius there of radius r on the
// eye.
double stereographic(double r_mm, double sphere_mm);

}  // namespace rhumb::render
