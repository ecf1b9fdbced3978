// A page of pictures, to see at a glance whether they look right.
#include <algorithm>
#include <opencv2/imgproc.hpp>

#include "files/user_error.h"
#include "render/camera.h"
#include "render/photographs.h"
#include "render/produce.h"
#include "render/scene_file.h"

namespace rhumb::render {
namespace {

constexpr int tile_width = 640;
constexpr int tile_height = 360;
constexpr int label_height = 26;

cv::Mat tile_of(Scene scene, double time_s, const std::string& label, int threads) {
  // The scene's own pixels, then reduced: a small recording stays visibly small.
  const double scale = std::min(1.0, 1280.0 / scene.camera.width);
  scene.camera.width = static_cast<int>(scene.camera.width * scale) & ~1;
  scene.camera.height = static_cast<int>(scene.camera.height * scale) & ~3;
  const Stage stage(scene);
  Camera camera(stage, threads);
  const cv::Mat picture = bgr_of(camera.take(time_s, 4242));
  // The middle of the picture in the tile's shape.
  const int high = std::min(picture.rows, picture.cols * tile_height / tile_width);
  cv::Mat tile(tile_height + label_height, tile_width, CV_8UC3, cv::Scalar(24, 22, 20));
  cv::resize(picture.rowRange((picture.rows - high) / 2, (picture.rows - high) / 2 + high),
             tile.rowRange(0, tile_height), {tile_width, tile_height}, 0, 0, cv::INTER_AREA);
  cv::putText(tile, label, {10, tile_height + 18}, cv::FONT_HERSHEY_SIMPLEX, 0.5, {225, 225, 225},
              1, cv::LINE_AA);
  return tile;
}

}  // namespace

void write_contact_sheet(const std::filesystem::path& scenes, const std::filesystem::path& image,
                         const ProduceOptions& options) {
  std::vector<std::filesystem::path> files;
  std::error_code error;
  for (const auto& entry : std::filesystem::directory_iterator(scenes, error))
    if (entry.path().extension() == ".toml") files.push_back(entry.path());
  if (files.empty())
    throw UserError(scenes.string(), "", "holds no scene files", "give a folder with .toml scenes");
  std::sort(files.begin(), files.end());
  std::vector<cv::Mat> tiles;
  for (const auto& file : files) {
    if (options.cancel.stop_requested()) throw Interrupted();
    const Scene scene = read_scene(file);
    if (scene.visits.empty())
      tiles.push_back(tile_of(scene, 0.82 * scene.seconds, scene.name, options.threads));
    for (std::size_t i = 0; i < scene.visits.size(); ++i)
      tiles.push_back(tile_of(scene_of_visit(scene, i), 0.0,
                              scene.name + ", " + scene.visits[i].label, options.threads));
  }
  constexpr int columns = 4;
  const int rows = (static_cast<int>(tiles.size()) + columns - 1) / columns;
  cv::Mat sheet(rows * (tile_height + label_height), columns * tile_width, CV_8UC3,
                cv::Scalar(24, 22, 20));
  for (std::size_t i = 0; i < tiles.size(); ++i) {
    const int x = static_cast<int>(i) % columns * tile_width;
    const int y = static_cast<int>(i) / columns * (tile_height + label_height);
    tiles[i].copyTo(sheet(cv::Rect(x, y, tile_width, tile_height + label_height)));
  }
  cv::Mat half;
  cv::resize(sheet, half, {}, 0.5, 0.5, cv::INTER_AREA);
  write_image(image, half);
}

}  // namespace rhumb::render
