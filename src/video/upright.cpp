#include "video/upright.h"

extern "C" {
#include <libavutil/display.h>
}

#include <algorithm>
#include <cmath>
#include <cstring>
#include <opencv2/imgproc.hpp>

namespace rhumb::video {
namespace {

constexpr double widest_pixel = 4.0;  // stated pixel shapes beyond 1:4 are taken as broken

void resize(cv::Mat& plane, cv::Size size) {
  if (plane.size() != size) {
    cv::Mat resized;
    const bool shrinks = size.width < plane.cols || size.height < plane.rows;
    cv::resize(plane, resized, size, 0.0, 0.0, shrinks ? cv::INTER_AREA : cv::INTER_CUBIC);
    plane = resized;
  }
}

void lay_plane(cv::Mat& plane, const Lay& lay) {
  cv::Mat laid;
  if (lay.flipped) {
    cv::flip(plane, laid, 1);
    plane = laid;
    laid = cv::Mat();
  }
  if (lay.quarter_turns != 0) {
    constexpr std::array<int, 4> codes{0, cv::ROTATE_90_CLOCKWISE, cv::ROTATE_180,
                                       cv::ROTATE_90_COUNTERCLOCKWISE};
    cv::rotate(plane, laid, codes[static_cast<std::size_t>(lay.quarter_turns)]);
    plane = laid;
  }
}

}  // namespace

Lay lay_from_matrix(const std::array<std::int32_t, 9>& matrix) {
  // A point (p, q) of the picture goes to (a p + c q, b p + d q), y down.
  double a = matrix[0];
  double b = matrix[1];
  const double c = matrix[3];
  const double d = matrix[4];
  Lay lay;
  const double determinant = a * d - b * c;
  if (determinant == 0.0) {
    return lay;
  }
  lay.flipped = determinant < 0.0;
  if (lay.flipped) {  // take the mirroring, which came first, off: what is left is a turn
    a = -a;
    b = -b;
  }
  const double turn = std::atan2(b, a) / (0.5 * CV_PI);  // with y down this counts clockwise
  const double rounded = std::round(turn);
  lay.quarter_turns = (static_cast<int>(rounded) + 4) % 4;
  lay.is_exact = std::abs(turn - rounded) < 1e-3;
  return lay;
}

Lay lay_of(const AVStream& stream, const AVFrame& first) {
  const std::uint8_t* bytes = nullptr;
  std::size_t size = 0;
  bytes = av_stream_get_side_data(&stream, AV_PKT_DATA_DISPLAYMATRIX, &size);
  if (bytes == nullptr) {
    if (const AVFrameSideData* side = av_frame_get_side_data(&first, AV_FRAME_DATA_DISPLAYMATRIX)) {
      bytes = side->data;
      size = side->size;
    }
  }
  std::array<std::int32_t, 9> matrix{};
  if (bytes == nullptr || size < sizeof(matrix)) {
    return {};
  }
  std::memcpy(matrix.data(), bytes, sizeof(matrix));
  return lay_from_matrix(matrix);
}

cv::Size square_size(const AVFrame& picture, const AVStream& stream) {
  AVRational shape = picture.sample_aspect_ratio;
  if (stream.sample_aspect_ratio.num > 0) {
    shape = stream.sample_aspect_ratio;
  }
  cv::Size size(picture.width, picture.height);
  if (shape.num <= 0 || shape.den <= 0 || shape.num == shape.den) {
    return size;
  }
  const double ratio = av_q2d(shape);
  if (ratio > widest_pixel || ratio < 1.0 / widest_pixel) {
    return size;
  }
  size.width = std::max(1, static_cast<int>(std::lround(size.width * ratio)));
  return size;
}

void make_upright(Planes& planes, cv::Size size, const Lay& lay) {
  const cv::Size small((size.width + 1) / 2, (size.height + 1) / 2);
  resize(planes.luma, size);
  resize(planes.cb, small);
  resize(planes.cr, small);
  for (cv::Mat* plane : {&planes.luma, &planes.cb, &planes.cr}) {
    lay_plane(*plane, lay);
  }
}

}  // namespace rhumb::video
