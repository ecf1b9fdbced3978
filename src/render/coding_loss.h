// How much of a lens's marks a recorder's coding has left in the file.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <vector>

#include "render/camera.h"
#include "render/truth.h"

namespace rhumb::render {

// Share of the drawn contrast of one end's marks that is left, 0 to 1.5: by least squares, the
// decoded picture without what would have been there without marks, against the marks as drawn
// (luma and both colours, in coded levels).
struct MarkPixels {
  struct Pixel {
    std::int16_t plane = 0;  // luma, cb, cr
    std::int16_t x = 0;
    std::int16_t y = 0;
    std::int16_t bare = 0;   // level without marks
    std::int16_t marks = 0;  // what the marks change it by
  };
  std::vector<Pixel> pixels;  // empty where nothing of the end shows
};
double share_left(const MarkPixels& end, const cv::Mat& luma, const cv::Mat& cb, const cv::Mat& cr);

// Watches a recording being made and reads the finished file against it.
class CodingLoss {
 public:
  CodingLoss(const Stage& stage, int threads);

  // A picture as it goes to the recorder. Five a second (of a long recording 400 in all) are drawn
  // once more, without marks.
  void watch(const Picture& picture, double time_s, std::int64_t number);

  // By picture, 0 to `frames` - 1: interpolated between those watched, each the median of itself
  // and its neighbours, 1 where nothing was watched. Throws VideoError when the file can't be read.
  std::vector<MarksLeft> read(const std::filesystem::path& video, std::int64_t frames) const;

 private:
  struct Watched {
    std::int64_t number = 0;
    MarkPixels a, b;
  };
  // The same scene without marks; painted when the first picture with marks comes.
  struct Bare {
    Bare(const Scene& scene, int threads) : stage(scene), camera(stage, threads) {}
    Stage stage;
    Camera camera;
  };
  const Stage& marked_;
  int threads_;
  std::unique_ptr<Bare> bare_;
  double every_s_;
  double next_s_ = 0.0;
  std::vector<Watched> watched_;
};

}  // namespace rhumb::render
