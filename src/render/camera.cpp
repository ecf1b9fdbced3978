#include "render/camera.h"

#include <fmt/core.h>

#include <atomic>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <thread>

#include "render/rng.h"

namespace rhumb::render {
namespace {

constexpr int tone_steps = 16384;  // so fine that a step is far below a level of eight bits
constexpr float tone_top = 6.0F;   // brighter light is white

// Bands are handed out as threads get free; each pixel is worked once, whoever does it.
template <class Work>
void bands(int count, int threads, int grain, const Work& work) {
  const int pieces = (count + grain - 1) / grain;
  std::atomic<int> next{0};
  const auto run = [&](std::size_t worker) {
    for (int i = next++; i < pieces; i = next++)
      work(worker, i * grain, std::min(count, (i + 1) * grain));
  };
  std::vector<std::jthread> pool;
  for (int i = 1; i < threads; ++i) pool.emplace_back(run, static_cast<std::size_t>(i));
  run(0);
}

// A film-like shoulder, then the display's gamma: linear light to 0..1.
std::vector<float> tone_curve() {
  std::vector<float> curve(tone_steps + 2);
  for (int i = 0; i < tone_steps + 2; ++i) {
    const double root = static_cast<double>(i) / tone_steps;
    const double light = root * root * tone_top;
    const double shoulder =
        light < 0.55 ? light : 0.55 + 0.45 * (1.0 - std::exp(-(light - 0.55) / 0.45));
    curve[static_cast<std::size_t>(i)] = static_cast<float>(
        shoulder <= 0.0031308 ? 12.92 * shoulder : 1.055 * std::pow(shoulder, 1.0 / 2.4) - 0.055);
  }
  return curve;
}

// About normal, standard deviation 1: the sum of four bytes of a hash.
float byte_noise(std::uint64_t h) {
  const auto sum =
      static_cast<float>((h & 0xff) + ((h >> 8) & 0xff) + ((h >> 16) & 0xff) + ((h >> 24) & 0xff));
  return (sum - 510.0F) * (1.0F / 147.8F);
}

std::uint8_t to_byte(float v) {
  return static_cast<std::uint8_t>(std::clamp(v + 0.5F, 0.0F, 255.0F));
}

}  // namespace

Camera::Camera(const Stage& stage, int threads)
    : stage_(stage), threads_(std::max(1, threads)), tone_(tone_curve()) {
  const CameraSettings& c = stage.scene().camera;
  const auto pixels = static_cast<std::size_t>(c.width) * static_cast<std::size_t>(c.height);
  light_.resize(pixels);
  scratch_.resize(static_cast<std::size_t>(threads_));
}

Camera::Exposures Camera::exposures_for(double time_s) const {
  const auto& c = stage_.scene().camera;
  const double half = 0.5 * c.shutter / c.fps;
  const Instant a = stage_.at(time_s - half);
  const Instant b = stage_.at(time_s + half);
  double moved = 0.0;
  for (const double m : {0.0, 2.1, 4.2}) {
    const Eigen::Vector3d p(6.0 * std::cos(m), 6.0 * std::sin(m), 0.0);
    moved = std::max(moved, (a.view.project(p) - b.view.project(p)).norm());
  }
  const double turned = std::abs(b.lens.axis_rad - a.lens.axis_rad) * 3.0 +
                        std::hypot(b.lens.x_mm - a.lens.x_mm, b.lens.y_mm - a.lens.y_mm);
  const auto count = [](double px) {
    return std::clamp(static_cast<int>(std::ceil(px / 1.5)), 1, 5);
  };
  const int eye = count(moved);
  Exposures e;
  e.count = std::max(eye, count(turned * a.view.px_per_mm()));
  e.x1 = c.width;
  e.y1 = c.height;
  const double first = 0.5 / e.count - 0.5;
  const double shutter_s = c.shutter / c.fps;
  e.instants.push_back(stage_.at(time_s + shutter_s * first));
  for (int i = 1; i < e.count; ++i) {
    const double at_s = time_s + shutter_s * ((i + 0.5) / e.count - 0.5);
    e.instants.push_back(eye > 1 ? stage_.at(at_s) : e.instants[0]);
    e.instants.back().lens = stage_.history().lens(at_s);
  }
  if (eye > 1 || e.count == 1) return e;
  // The lens alone has moved: it shows inside the pupil only.
  const Eyeball& ball = stage_.scene().eye;
  const Instant& now = e.instants[0];
  const Eigen::Vector2d middle = now.view.project_inside(
      {ball.pupil_shift_mm[0], ball.pupil_shift_mm[1], now.view.surfaces().iris_z});
  const double reach =
      0.5 * ball.pupil_mm * (1.05 + 3.0 * ball.pupil_irregular) * 1.25 * now.view.px_per_mm() + 6.0;
  const auto from = [&](double at) { return static_cast<int>(std::max(0.0, at - reach)); };
  const auto to = [&](double at, int most) {
    return static_cast<int>(std::clamp(at + reach, 0.0, static_cast<double>(most)));
  };
  e.x0 = from(middle.x()) & ~3;
  e.x1 = to(middle.x(), c.width);
  e.y0 = from(middle.y());
  e.y1 = to(middle.y(), c.height);
  return e;
}

std::vector<float> Camera::kernel_of(double sigma_px) {
  if (sigma_px < 0.2) return {1.0F};
  const int reach = std::max(1, static_cast<int>(std::ceil(2.8 * sigma_px)));
  double sum = 0.0;
  for (int i = -reach; i <= reach; ++i) sum += std::exp(-0.5 * i * i / (sigma_px * sigma_px));
  std::vector<float> kernel;
  for (int i = 0; i <= reach; ++i)
    kernel.push_back(static_cast<float>(std::exp(-0.5 * i * i / (sigma_px * sigma_px)) / sum));
  return kernel;
}

namespace {

// One row blurred along itself; `kernel` holds the middle and one flank.
void blur_row(const Vec4* in, Vec4* out, int width, const std::vector<float>& kernel) {
  const int reach = static_cast<int>(kernel.size()) - 1;
  const auto at_edge = [&](int x) {
    Vec4 v = in[x] * kernel[0];
    for (int i = 1; i <= reach; ++i)
      v += (in[std::max(0, x - i)] + in[std::min(width - 1, x + i)]) *
           kernel[static_cast<std::size_t>(i)];
    out[x] = v;
  };
  const int left = std::min(reach, width);
  const int right = std::max(left, width - reach);
  for (int x = 0; x < left; ++x) at_edge(x);
  for (int x = left; x < right; ++x) {
    Vec4 v = in[x] * kernel[0];
    for (int i = 1; i <= reach; ++i)
      v += (in[x - i] + in[x + i]) * kernel[static_cast<std::size_t>(i)];
    out[x] = v;
  }
  for (int x = right; x < width; ++x) at_edge(x);
}

}  // namespace

void Camera::expose(double time_s, int first_row, int row_step, const std::vector<float>& kernel) {
  const auto& c = stage_.scene().camera;
  const Exposures e = exposures_for(time_s);
  const auto share = all(1.0F / static_cast<float>(e.count));
  bands(c.height, threads_, row_step == 1 ? 16 : 1, [&](std::size_t worker, int y0, int y1) {
    if (row_step == 2 && y0 % 2 != first_row) return;
    const std::size_t size = static_cast<std::size_t>(c.width) * static_cast<std::size_t>(y1 - y0);
    std::vector<Vec4>& band = scratch_[worker].light;
    std::vector<Vec4>& sum = scratch_[worker].sum;
    band.resize(size);
    stage_.shade(e.instants[0], y0, y1, 0, c.width, band.data());
    const bool moving = e.count > 1 && y1 > e.y0 && y0 < e.y1;
    if (moving) {
      sum = band;
      const auto each = [&](const auto& work) {
        for (int y = 0; y < y1 - y0; ++y)
          for (int x = e.x0; x < e.x1; ++x)
            work(static_cast<std::size_t>(y) * static_cast<std::size_t>(c.width) +
                 static_cast<std::size_t>(x));
      };
      each([&](std::size_t k) { sum[k] *= share; });
      for (int i = 1; i < e.count; ++i) {
        stage_.shade(e.instants[static_cast<std::size_t>(i)], y0, y1, e.x0, e.x1, band.data());
        each([&](std::size_t k) { sum[k] += band[k] * share; });
      }
    }
    const Vec4* in = moving ? sum.data() : band.data();
    Vec4* out = light_.data() + static_cast<std::ptrdiff_t>(y0) * c.width;
    for (int y = y0; y < y1; ++y, in += c.width, out += c.width) blur_row(in, out, c.width, kernel);
  });
}

void Camera::blurred_row(int y, const std::vector<float>& kernel, Vec4* out) const {
  const auto& c = stage_.scene().camera;
  const auto line = [&](int at) {
    return light_.data() + static_cast<std::ptrdiff_t>(std::clamp(at, 0, c.height - 1)) * c.width;
  };
  const Vec4* middle = line(y);
  for (int x = 0; x < c.width; ++x) out[x] = middle[x] * kernel[0];
  for (std::size_t i = 1; i < kernel.size(); ++i) {
    const Vec4* above = line(y - static_cast<int>(i));
    const Vec4* below = line(y + static_cast<int>(i));
    const float k = kernel[i];
    for (int x = 0; x < c.width; ++x) out[x] += (above[x] + below[x]) * k;
  }
}

cv::Mat Camera::lettering(double clock_s) {
  const auto& c = stage_.scene().camera;
  std::string label = c.text;
  const auto at = label.find("%T");
  const int s = static_cast<int>(clock_s);
  if (at != std::string::npos)
    label.replace(at, 2, fmt::format("{:02d}:{:02d}:{:02d}", s / 3600, s / 60 % 60, s % 60));
  if (label.empty() || label == lettered_) return letters_;
  lettered_ = label;
  letters_ = cv::Mat::zeros(c.height, c.width, CV_8UC1);
  const double size = c.height / 1000.0;
  cv::putText(
      letters_, label, {static_cast<int>(0.03 * c.width), static_cast<int>(0.95 * c.height)},
      cv::FONT_HERSHEY_SIMPLEX, size, 235, std::max(1, static_cast<int>(1.8 * size)), cv::LINE_AA);
  return letters_;
}

void Camera::develop(double gain, const std::vector<float>& kernel, std::int64_t number,
                     double clock_s, Picture& picture) {
  const Scene& scene = stage_.scene();
  const auto& c = scene.camera;
  const auto& m = scene.microscope;
  picture.luma.create(c.height, c.width, CV_8UC1);
  picture.cb.create(c.height / 2, c.width / 2, CV_8UC1);
  picture.cr.create(c.height / 2, c.width / 2, CV_8UC1);
  const Vec4 white{static_cast<float>(gain * m.white[0] / tone_top),
                   static_cast<float>(gain * m.white[1] / tone_top),
                   static_cast<float>(gain * m.white[2] / tone_top), 0.0F};
  const cv::Mat text = lettering(clock_s);
  const std::uint64_t key = key_of(scene.seed, 0x900000ULL + static_cast<std::uint64_t>(number));
  const auto noise = static_cast<float>(c.noise * 219.0);
  const auto sharpen = static_cast<float>(c.sharpen);
  const auto columns = static_cast<std::size_t>(c.width);
  // Luma of row y before sharpening, and its colour.
  const auto develop_row = [&](int y, Vec4* in, float* luma, float* blue, float* red) {
    blurred_row(y, kernel, in);
    for (int x = 0; x < c.width; ++x) {
      const Vec4 at =
          root(within(in[x] * white, 0.0F, 1.0F)) * static_cast<float>(tone_steps) + 0.5F;
      float rgb[3];
      for (int k = 0; k < 3; ++k) rgb[k] = tone_[static_cast<std::size_t>(at[k])];
      const float l = 0.2126F * rgb[0] + 0.7152F * rgb[1] + 0.0722F * rgb[2];
      luma[x] = 16.0F + 219.0F * l;
      blue[x] = 224.0F / 1.8556F * (rgb[2] - l);
      red[x] = 224.0F / 1.5748F * (rgb[0] - l);
    }
  };
  bands(c.height / 2, threads_, 16, [&](std::size_t worker, int p0, int p1) {
    const int y0 = 2 * p0;
    const int y1 = std::min(2 * p1, c.height);
    const int rows = y1 - y0 + 2;  // one more above and below for the sharpening
    std::vector<Vec4>& light = scratch_[worker].light;
    std::vector<float>& luma = scratch_[worker].luma;
    std::vector<float>& blue = scratch_[worker].blue;
    std::vector<float>& red = scratch_[worker].red;
    light.resize(std::max(light.size(), columns));
    for (std::vector<float>* plane : {&luma, &blue, &red})
      plane->resize(columns * static_cast<std::size_t>(rows));
    for (int i = 0; i < rows; ++i) {
      const std::size_t at = columns * static_cast<std::size_t>(i);
      develop_row(std::clamp(y0 - 1 + i, 0, c.height - 1), light.data(), &luma[at], &blue[at],
                  &red[at]);
    }
    for (int y = y0; y < y1; ++y) {
      const float* row = luma.data() + columns * static_cast<std::size_t>(y - y0 + 1);
      auto* out = picture.luma.ptr<std::uint8_t>(y);
      const std::uint8_t* drawn = text.empty() ? nullptr : text.ptr<std::uint8_t>(y);
      std::uint64_t h = 0;
      for (int x = 0; x < c.width; ++x) {
        const int l = x > 0 ? x - 1 : 0;
        const int r = x + 1 < c.width ? x + 1 : x;
        const float around = 0.25F * (row[l] + row[r] + row[x - c.width] + row[x + c.width]);
        float v = row[x] + sharpen * (row[x] - around);
        // Shot noise grows with the root of the light; the gamma turns that into an almost even
        // grain.
        // One hash makes the grain of two neighbours.
        h = x % 2 == 0 ? mix(key ^ (static_cast<std::uint64_t>(y) << 20 | static_cast<unsigned>(x)))
                       : h >> 32;
        v += noise * byte_noise(h) * (0.6F + 0.4F * std::clamp((235.0F - v) / 150.0F, 0.0F, 1.3F));
        if (drawn != nullptr && drawn[x] != 0)
          v += (235.0F - v) * static_cast<float>(drawn[x]) / 255.0F;
        out[x] = to_byte(std::clamp(v, 16.0F, 235.0F));
      }
    }
    for (int y = p0; y < p1; ++y) {
      const std::size_t at = columns * static_cast<std::size_t>(2 * (y - p0) + 1);
      auto* cb = picture.cb.ptr<std::uint8_t>(y);
      auto* cr = picture.cr.ptr<std::uint8_t>(y);
      for (int x = 0; x < c.width / 2; ++x) {
        const std::size_t k = at + 2 * static_cast<std::size_t>(x);
        const float b = 0.25F * (blue[k] + blue[k + 1] + blue[k + columns] + blue[k + columns + 1]);
        const float r = 0.25F * (red[k] + red[k + 1] + red[k + columns] + red[k + columns + 1]);
        const std::uint64_t h =
            mix(key ^ 0x5555ULL ^ (static_cast<std::uint64_t>(y) << 20 | static_cast<unsigned>(x)));
        cb[x] = to_byte(128.0F + b + 0.5F * noise * byte_noise(h));
        cr[x] = to_byte(128.0F + r + 0.5F * noise * byte_noise(h >> 32));
      }
    }
  });
}

Picture Camera::take(double time_s, std::int64_t number) {
  const Scene& scene = stage_.scene();
  const auto& c = scene.camera;
  const double per_mm = c.width / scene.microscope.field_mm * stage_.history().zoom(time_s);
  const std::vector<float> kernel =
      kernel_of(std::hypot(c.psf_px, stage_.history().defocus_mm(time_s) * per_mm));
  if (c.interlaced) {
    expose(time_s, 0, 2, kernel);
    expose(time_s + 0.5 / c.fps, 1, 2, kernel);
  } else {
    expose(time_s, 0, 1, kernel);
  }
  Picture picture;
  const double clock = 120.0 + static_cast<double>(scene.seed % 2400) + time_s;
  const double gain = stage_.history().gain(time_s) * stage_.history().light(time_s);
  develop(1.6 * scene.microscope.exposure * gain, kernel, number, clock, picture);
  return picture;
}

cv::Mat bgr_of(const Picture& picture) {
  const int rows = picture.luma.rows;
  const int columns = picture.luma.cols;
  cv::Mat cb;
  cv::Mat cr;
  cv::resize(picture.cb, cb, {columns, rows}, 0, 0, cv::INTER_LINEAR);
  cv::resize(picture.cr, cr, {columns, rows}, 0, 0, cv::INTER_LINEAR);
  cv::Mat bgr(rows, columns, CV_8UC3);
  for (int y = 0; y < rows; ++y)
    for (int x = 0; x < columns; ++x) {
      const float l =
          static_cast<float>(picture.luma.at<std::uint8_t>(y, x) - 16) * (255.0F / 219.0F);
      const float b = static_cast<float>(cb.at<std::uint8_t>(y, x) - 128) * (255.0F / 224.0F);
      const float r = static_cast<float>(cr.at<std::uint8_t>(y, x) - 128) * (255.0F / 224.0F);
      bgr.at<cv::Vec3b>(y, x) = {to_byte(l + 1.8556F * b), to_byte(l - 0.1873F * b - 0.4681F * r),
                                 to_byte(l + 1.5748F * r)};
    }
  return bgr;
}

}  // namespace rhumb::render
