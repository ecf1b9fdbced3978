#include "reference/picture_size.h"

#include <algorithm>
#include <cstddef>
#include <string_view>

namespace rhumb::reference {
namespace {

using Bytes = std::span<const unsigned char>;

bool starts(Bytes bytes, std::size_t at, std::string_view with) {
  return bytes.size() >= at + with.size() &&
         std::equal(with.begin(), with.end(), bytes.begin() + static_cast<std::ptrdiff_t>(at),
                    [](char c, unsigned char b) { return static_cast<unsigned char>(c) == b; });
}

// `count` bytes from `at` as a number; 0 past the end.
std::uint32_t number(Bytes bytes, std::size_t at, std::size_t count, bool big_endian) {
  if (at > bytes.size() || count > bytes.size() - at) return 0;
  std::uint32_t value = 0;
  for (std::size_t i = 0; i < count; ++i)
    value = value << 8U | bytes[at + (big_endian ? i : count - 1 - i)];
  return value;
}

std::optional<StatedSize> png_size(Bytes bytes) {
  constexpr std::size_t header = 12;  // behind the signature and the chunk's length
  if (!starts(bytes, header, "IHDR")) return std::nullopt;
  return StatedSize{number(bytes, header + 4, 4, true), number(bytes, header + 8, 4, true)};
}

bool is_frame_header(unsigned marker) {
  const bool other = marker == 0xC4 || marker == 0xC8 || marker == 0xCC;  // tables, not frames
  return marker >= 0xC0 && marker <= 0xCF && !other;
}

std::optional<StatedSize> jpeg_size(Bytes bytes) {
  std::size_t at = 2;
  while (at + 4 <= bytes.size()) {
    if (bytes[at] != 0xFF) {  // what lies between markers is passed over, as decoders do
      ++at;
      continue;
    }
    const unsigned marker = bytes[at + 1];
    const bool alone = marker == 0x01 || (marker >= 0xD0 && marker <= 0xD8);
    if (marker == 0xFF || marker == 0x00) {
      ++at;
    } else if (alone) {
      at += 2;
    } else if (is_frame_header(marker)) {
      return StatedSize{number(bytes, at + 7, 2, true), number(bytes, at + 5, 2, true)};
    } else {
      at += 2 + std::max<std::size_t>(number(bytes, at + 2, 2, true), 2);
    }
  }
  return std::nullopt;
}

std::optional<StatedSize> tiff_size(Bytes bytes) {
  const bool big = bytes[0] == 'M';
  const std::size_t directory = number(bytes, 4, 4, big);
  const std::uint32_t entries = number(bytes, directory, 2, big);
  StatedSize picture, tile;
  for (std::uint32_t i = 0; i < entries; ++i) {
    const std::size_t entry = directory + 2 + std::size_t{12} * i;
    if (entry + 12 > bytes.size()) break;
    constexpr std::uint32_t is_short = 3;
    const std::size_t size = number(bytes, entry + 2, 2, big) == is_short ? 2 : 4;
    const std::uint32_t value = number(bytes, entry + 8, size, big);
    const std::uint32_t tag = number(bytes, entry, 2, big);
    if (tag == 256) picture.width = value;
    if (tag == 257) picture.height = value;
    if (tag == 322) tile.width = value;
    if (tag == 323) tile.height = value;
  }
  if (picture.width == 0 || picture.height == 0) return std::nullopt;
  return StatedSize{std::max(picture.width, tile.width), std::max(picture.height, tile.height)};
}

}  // namespace

PictureFormat format_of(Bytes bytes) {
  using namespace std::string_view_literals;
  if (starts(bytes, 128, "DICM")) return PictureFormat::Dicom;
  if (starts(bytes, 0, "\xFF\xD8")) return PictureFormat::Jpeg;
  if (starts(bytes, 0, "\x89PNG\r\n\x1A\n")) return PictureFormat::Png;
  if (starts(bytes, 0, "II*\0"sv) || starts(bytes, 0, "MM\0*"sv)) return PictureFormat::Tiff;
  return PictureFormat::Other;
}

std::optional<StatedSize> stated_size(Bytes bytes) {
  switch (format_of(bytes)) {
    case PictureFormat::Png:
      return png_size(bytes);
    case PictureFormat::Jpeg:
      return jpeg_size(bytes);
    case PictureFormat::Tiff:
      return tiff_size(bytes);
    case PictureFormat::Dicom:
    case PictureFormat::Other:
      break;
  }
  return std::nullopt;
}

}  // namespace rhumb::reference
