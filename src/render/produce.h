// Whole outputs: a recording or a series of photographs with case file and truth.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <stop_token>
#include <vector>

#include "render/scene.h"
#include "render/truth.h"

namespace rhumb::render {

struct ProduceOptions {
  int threads = 2;          // changes the speed only
  std::int64_t frames = 0;  // at most so many pictures; 0: the scene's length
  std::stop_token cancel;   // Interrupted is thrown when it is set
  std::function<void(std::int64_t done, std::int64_t total)> progress;
};

// Writes video.mp4, case.toml, truth.csv and truth.json (and upright.png where a photograph is the
// reference), or the visits' pictures, series.toml, truth.csv and truth.json. UserError when the
// folder cannot be written.
void produce(const Scene& scene, const std::filesystem::path& folder,
             const ProduceOptions& options);

// The recording alone; returns the truth that it has written, for callers that score it at once.
std::vector<TruthRow> produce_recording(const Scene& scene, const std::filesystem::path& folder,
                                        const ProduceOptions& options);

// One picture of every scene file in a folder, in the order of their names, side by side with the
// names under them; of a series one picture a visit. UserError when the folder holds no scene. Any
// image ending.
void write_contact_sheet(const std::filesystem::path& scenes, const std::filesystem::path& image,
                         const ProduceOptions& options);

// case.toml of a recording, as its own text.
std::string case_text(const Scene& scene);

}  // namespace rhumb::render
