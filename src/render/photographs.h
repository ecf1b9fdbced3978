// Still photographs: the upright one before surgery, and those of follow-up visits.
#pragma once

#include <filesystem>

#include "render/produce.h"
#include "render/scene.h"

namespace rhumb::render {

// A photograph of the same eye at a slit lamp, upright, before surgery: no lens with marks in it,
// no ink.
void write_upright(const Scene& scene, const std::filesystem::path& file, int threads);

// The visits' photographs with series.toml and truth.
void produce_series(const Scene& scene, const std::filesystem::path& folder,
                    const ProduceOptions& options);

}  // namespace rhumb::render
