// Still photographs: the upright one before surgery, and those of follow-up visits.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>

#include "render/produce.h"
#include "render/scene.h"

namespace rhumb::render {

// A photograph of the same eye at a slit lamp, upright, before surgery: no lens with marks in it,
// no ink.
void write_upright(const Scene& scene, const std::filesystem::path& file, int threads);

// The scene as it stands at one visit's slit lamp: photographed at time 0.
Scene scene_of_visit(const Scene& scene, std::size_t visit);

// Codes and writes by the file's ending (.png, .jpg).
void write_image(const std::filesystem::path& file, const cv::Mat& bgr);

// The visits' photographs with series.toml and truth.
void produce_series(const Scene& scene, const std::filesystem::path& folder,
                    const ProduceOptions& options);

}  // namespace rhumb::render
