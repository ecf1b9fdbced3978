// rhumb render: a synthetic eye with its ground truth.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <memory>
#include <string>
#include <thread>

#include "cli/command.h"
#include "cli/progress.h"
#include "files/user_error.h"
#include "render/produce.h"
#include "render/scene_file.h"

namespace rhumb::cli {
namespace {

struct Options {
  std::string scene;
  std::string out;
  std::string size;
  std::int64_t frames = 0;
  double seed = -1.0;
  int threads = 0;
  bool sheet = false;
};

// "1280x720" or the like; the picture keeps its width in millimetres.
void resize(render::Scene& scene, const std::string& size) {
  const auto cross = size.find('x');
  int width = 0;
  int height = 0;
  try {
    width = std::stoi(size.substr(0, cross));
    height = cross == std::string::npos ? 0 : std::stoi(size.substr(cross + 1));
  } catch (const std::exception&) {
    width = 0;
  }
  if (width < 160 || height < 120 || width > 4096 || height > 2304)
    throw UserError("--size", "", "'" + size + "' is not a size from 160x120 to 4096x2304",
                    "write WIDTHxHEIGHT, such as 1280x720");
  scene.camera.width = width & ~1;
  scene.camera.height = height & ~3;
}

int threads_of(const Options& options) {
  if (options.threads > 0) return options.threads;
  return static_cast<int>(std::max(1U, std::thread::hardware_concurrency()));
}

int run(const Options& options, const std::stop_token& cancel) {
  if (options.sheet) {
    render::ProduceOptions producing;
    producing.threads = threads_of(options);
    producing.cancel = cancel;
    render::write_contact_sheet(options.scene, options.out, producing);
    return exit_done;
  }
  render::Scene scene = render::read_scene(options.scene);
  if (!options.size.empty()) resize(scene, options.size);
  if (options.seed >= 0.0) scene.seed = static_cast<std::uint64_t>(options.seed);
  render::ProduceOptions producing;
  producing.threads = threads_of(options);
  producing.frames = options.frames;
  producing.cancel = cancel;
  render::produce(scene, options.out, producing);
  return exit_done;
}

}  // namespace

void add_render(CLI::App& program, Chosen& chosen) {
  auto options = std::make_shared<Options>();
  CLI::App* command =
      program.add_subcommand("render", "Draw a synthetic eye with its ground truth");
  command
      ->add_option("SCENE", options->scene,
                   "scene file (docs/rendering.md), or with --sheet a folder of them")
      ->required();
  command->add_option("--out", options->out, "folder to write to, or with --sheet the image")
      ->required();
  command->add_option("--size", options->size,
                      "picture size in pixels instead of the scene's, such as 1280x720");
  command->add_option("--frames", options->frames, "at most so many pictures")
      ->check(CLI::PositiveNumber);
  command->add_option("--seed", options->seed, "another eye and operation of the same kind")
      ->check(CLI::Range(0.0, 4294967295.0));
  command
      ->add_option("--threads", options->threads, "threads; the output is the same with any number")
      ->check(CLI::Range(1, 256));
  command->add_flag("--sheet", options->sheet,
                    "one picture of every scene in a folder, side by side");
  command->footer(footer("rhumb render fixtures/scenes/routine.toml --out demo/routine"));
  command->callback([&chosen, options] {
    chosen.run = [options](const std::stop_token& cancel) { return run(*options, cancel); };
  });
}

}  // namespace rhumb::cli
