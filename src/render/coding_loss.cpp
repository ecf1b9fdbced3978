#include "render/coding_loss.h"

#include <algorithm>
#include <array>

#include "video/reader.h"

namespace rhumb::render {
namespace {

constexpr double every_s = 0.2;
constexpr double most_watched = 400.0;
constexpr double most_left = 1.5;  // sharpening and coding may add to what was drawn

Scene without_marks(Scene scene) {
  for (Lens* lens : {&scene.lens, &scene.previous}) {
    lens->contrast = 0.0;
    lens->grey = 0.0;
  }
  return scene;
}

// Where the lens's centre lies in the picture and which way its axis points there.
struct AxisInPicture {
  Eigen::Vector2d centre;
  Eigen::Vector2d along;
};

AxisInPicture axis_in_picture(const Instant& now, const Lens& lens) {
  const LensAxes axes = lens_axes(now.lens, lens, now.view.surfaces());
  const Eigen::Vector2d centre = now.view.project_inside(axes.centre);
  return {centre, now.view.project_inside(axes.centre + axes.along) - centre};
}

// What differs between the pictures with and without marks, by end.
void compare(const Picture& with, const Picture& without, const AxisInPicture& axis, MarkPixels& a,
             MarkPixels& b) {
  const std::array pairs{std::pair{&with.luma, &without.luma}, std::pair{&with.cb, &without.cb},
                         std::pair{&with.cr, &without.cr}};
  for (int plane = 0; plane < 3; ++plane) {
    const cv::Mat& marked = *pairs[static_cast<std::size_t>(plane)].first;
    const cv::Mat& bare = *pairs[static_cast<std::size_t>(plane)].second;
    const double scale = plane == 0 ? 1.0 : 2.0;
    for (int y = 0; y < marked.rows; ++y) {
      const auto* m = marked.ptr<std::uint8_t>(y);
      const auto* u = bare.ptr<std::uint8_t>(y);
      for (int x = 0; x < marked.cols; ++x) {
        if (m[x] == u[x]) continue;
        const Eigen::Vector2d at(scale * x, scale * y);
        MarkPixels& end = (at - axis.centre).dot(axis.along) > 0.0 ? a : b;
        const auto whole = [](int value) { return static_cast<std::int16_t>(value); };
        end.pixels.push_back({whole(plane), whole(x), whole(y), whole(u[x]), whole(m[x] - u[x])});
      }
    }
  }
}

struct Known {
  std::int64_t number;
  double left;
};

std::vector<double> by_picture(const std::vector<Known>& known, std::int64_t frames) {
  std::vector<double> out(static_cast<std::size_t>(frames), 1.0);
  if (known.empty()) return out;
  std::vector<double> calm;
  for (std::size_t k = 0; k < known.size(); ++k) {
    std::array three{known[k > 0 ? k - 1 : k].left, known[k].left,
                     known[std::min(k + 1, known.size() - 1)].left};
    std::sort(three.begin(), three.end());
    calm.push_back(three[1]);
  }
  std::size_t next = 0;
  for (std::int64_t frame = 0; frame < frames; ++frame) {
    while (next < known.size() && known[next].number < frame) ++next;
    double& value = out[static_cast<std::size_t>(frame)];
    if (next == 0) {
      value = calm.front();
    } else if (next == known.size()) {
      value = calm.back();
    } else {
      const auto from = static_cast<double>(known[next - 1].number);
      const auto to = static_cast<double>(known[next].number);
      value = calm[next - 1] +
              (calm[next] - calm[next - 1]) * (static_cast<double>(frame) - from) / (to - from);
    }
  }
  return out;
}

}  // namespace

double share_left(const MarkPixels& end, const cv::Mat& luma, const cv::Mat& cb,
                  const cv::Mat& cr) {
  const std::array planes{&luma, &cb, &cr};
  double product = 0.0;
  double power = 0.0;
  for (const MarkPixels::Pixel& p : end.pixels) {
    const auto level = planes[static_cast<std::size_t>(p.plane)]->at<std::uint8_t>(p.y, p.x);
    product += p.marks * (level - p.bare);
    power += p.marks * p.marks;
  }
  return power > 0.0 ? std::clamp(product / power, 0.0, most_left) : 1.0;
}

CodingLoss::CodingLoss(const Stage& stage, int threads)
    : marked_(stage),
      threads_(threads),
      every_s_(std::max(every_s, stage.scene().seconds / most_watched)) {}

void CodingLoss::watch(const Picture& picture, double time_s, std::int64_t number) {
  if (time_s < next_s_) return;
  const Instant now = marked_.at(time_s);
  const Lens& lens = now.lens.previous ? marked_.scene().previous : marked_.scene().lens;
  if (!now.lens.in_eye || lens.marks == Marks::None) return;
  next_s_ = time_s + every_s_;
  if (!bare_) bare_ = std::make_unique<Bare>(without_marks(marked_.scene()), threads_);
  Watched one;
  one.number = number;
  compare(picture, bare_->camera.take(time_s, number), axis_in_picture(now, lens), one.a, one.b);
  watched_.push_back(std::move(one));
}

std::vector<MarksLeft> CodingLoss::read(const std::filesystem::path& video,
                                        std::int64_t frames) const {
  std::vector<Known> a;
  std::vector<Known> b;
  auto reader = video::Reader::open({video});
  std::size_t next = 0;
  while (next < watched_.size()) {
    const auto frame = reader.next();
    if (!frame) break;
    while (next < watched_.size() && watched_[next].number < frame->index) ++next;  // not coded
    if (next == watched_.size() || watched_[next].number != frame->index) continue;
    const Watched& one = watched_[next++];
    if (!one.a.pixels.empty())
      a.push_back({one.number, share_left(one.a, frame->luma, frame->cb, frame->cr)});
    if (!one.b.pixels.empty())
      b.push_back({one.number, share_left(one.b, frame->luma, frame->cb, frame->cr)});
  }
  const std::vector<double> of_a = by_picture(a, frames);
  const std::vector<double> of_b = by_picture(b, frames);
  std::vector<MarksLeft> out;
  for (std::size_t k = 0; k < of_a.size(); ++k) out.push_back({of_a[k], of_b[k]});
  return out;
}

}  // namespace rhumb::render
