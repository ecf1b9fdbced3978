// How large a picture says it is, read before anything is decoded: a file of a few bytes may ask
// for gigabytes.
#pragma once

#include <cstdint>
#include <optional>
#include <span>

namespace rhumb::reference {

// JPEG, PNG (W3C, third edition) and classic TIFF (6.0, 1992); the words of PhotoFacts::format.
enum class PictureFormat { Jpeg, Png, Tiff, Dicom, Other };
PictureFormat format_of(std::span<const unsigned char> bytes);

struct StatedSize {
  std::uint32_t width = 0;
  std::uint32_t height = 0;
};

// Of a JPEG, its first frame header; of a PNG, its first chunk; of a TIFF, its first directory, or
// the size of a tile where that is larger. Empty where the file does not say, and for other
// formats.
std::optional<StatedSize> stated_size(std::span<const unsigned char> bytes);

}  // namespace rhumb::reference
