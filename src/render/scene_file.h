// Scene files: TOML to a checked Scene. What may stand in them: docs/rendering.md.
#pragma once

#include <filesystem>

#include "render/scene.h"

namespace rhumb::render {

// Throws UserError that names the file, line and key for what it does not know or cannot use.
Scene read_scene(const std::filesystem::path& file);

// Fills in what the scene leaves to chance, by its seed: the operation's steps when none are given,
// the ink marks' own errors with their mean taken off. read_scene() has called it; scenes made in
// code call it.
void complete(Scene& scene);

}  // namespace rhumb::render
