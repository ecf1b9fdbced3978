#include "reference/photo_file.h"

#include <fmt/core.h>

#include <fstream>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "files/user_error.h"
#include "reference/dicom_photo.h"
#include "reference/picture_size.h"

namespace rhumb::reference {
namespace {

constexpr std::uintmax_t most_bytes = 512U << 20U;

std::vector<unsigned char> bytes_of(const std::filesystem::path& file) {
  std::error_code wrong;
  const auto size = std::filesystem::file_size(file, wrong);
  if (wrong) throw UserError(file.string(), "", "can't be read", "check the name and the rights");
  if (size > most_bytes)
    throw UserError(file.string(), "", "is too large for a photograph",
                    "export it at up to 50 megapixels");
  std::vector<unsigned char> bytes(static_cast<std::size_t>(size));
  std::ifstream in(file, std::ios::binary);
  if (!in.read(reinterpret_cast<char*>(bytes.data()), static_cast<std::streamsize>(bytes.size())))
    throw UserError(file.string(), "", "can't be read", "check the name and the rights");
  return bytes;
}

const char* name_of(PictureFormat format) {
  switch (format) {
    case PictureFormat::Jpeg:
      return "JPEG";
    case PictureFormat::Png:
      return "PNG";
    case PictureFormat::Tiff:
      return "TIFF";
    case PictureFormat::Dicom:
      return "DICOM";
    case PictureFormat::Other:
      break;
  }
  return "picture";
}

[[noreturn]] void refuse_unreadable(const std::filesystem::path& file) {
  throw UserError(file.string(), "", "is no picture that can be read",
                  "give a JPEG, PNG, TIFF or DICOM photograph");
}

// Colour, whatever depth; the EXIF orientation is applied since it is not told to be ignored.
cv::Mat decoded(const std::vector<unsigned char>& bytes, const std::filesystem::path& file) {
  const std::optional<StatedSize> size = stated_size(bytes);
  if (!size) refuse_unreadable(file);
  refuse_large(size->width, size->height, file);
  try {
    const cv::Mat pixels = cv::imdecode(bytes, cv::IMREAD_COLOR | cv::IMREAD_ANYDEPTH);
    if (!pixels.empty()) return pixels;
  } catch (const cv::Exception&) {  // said below, in the program's own words
  }
  refuse_unreadable(file);
}

// 16 bit pictures often use less than their range (10, 12 or 14 bits): the brightest point tells.
cv::Mat eight_bit(const cv::Mat& any) {
  if (any.depth() == CV_8U) return any;
  double top = 0;
  cv::minMaxLoc(any.reshape(1), nullptr, &top);
  cv::Mat out;
  if (any.depth() == CV_16U) {
    double range = 255;
    while (range < top) range = range * 2 + 1;
    any.convertTo(out, CV_8U, 255.0 / range);
  } else {
    any.convertTo(out, CV_8U, top > 0 ? 255.0 / top : 1.0);
  }
  return out;
}

}  // namespace

void refuse_large(double width, double height, const std::filesystem::path& file) {
  constexpr double most_pixels = 50e6;
  if (width * height > most_pixels)
    throw UserError(file.string(), "", "has more than 50 megapixels", "export it smaller");
}

Photo photo_of(const cv::Mat& any) {
  Photo out;
  const cv::Mat even = any(cv::Rect(0, 0, any.cols & ~1, any.rows & ~1));
  if (even.channels() == 1) {
    cv::cvtColor(even, out.bgr, cv::COLOR_GRAY2BGR);
  } else {
    out.bgr = even.clone();
  }
  cv::Mat whole;
  cv::cvtColor(out.bgr, whole, cv::COLOR_BGR2YCrCb);
  cv::extractChannel(whole, out.luma, 0);
  const cv::Size half(even.cols / 2, even.rows / 2);
  cv::Mat chroma;
  cv::extractChannel(whole, chroma, 1);
  cv::resize(chroma, out.cr, half, 0, 0, cv::INTER_AREA);
  cv::extractChannel(whole, chroma, 2);
  cv::resize(chroma, out.cb, half, 0, 0, cv::INTER_AREA);
  return out;
}

Photo read_photo(const std::filesystem::path& file) {
  const std::vector<unsigned char> bytes = bytes_of(file);
  const PictureFormat format = format_of(bytes);
  PhotoFacts facts;
  const cv::Mat pixels =
      format == PictureFormat::Dicom ? read_dicom_photo(file, facts) : decoded(bytes, file);
  facts.format = name_of(format);
  if (pixels.cols < 64 || pixels.rows < 64)
    throw UserError(file.string(), "", "is smaller than 64 x 64 pixels",
                    "give the photograph itself");
  Photo out = photo_of(eight_bit(pixels));
  out.facts = facts;
  return out;
}

}  // namespace rhumb::reference
