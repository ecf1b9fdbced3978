// Reads a photograph into planes: JPEG (its EXIF orientation honoured), PNG, TIFF, 8 or 16 bit,
// grey or colour, and DICOM photographs through DCMTK.
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>
#include <optional>
#include <string>

namespace rhumb::reference {

// What a photograph says of itself. Nothing of the patient is kept.
struct PhotoFacts {
  std::string format;              // "JPEG", "PNG", "TIFF" or "DICOM"
  std::optional<char> laterality;  // 'R' or 'L' (DICOM)
  std::string date;  // ISO 8601, empty when not stated (DICOM acquisition or content date)
  std::string patient_orientation;  // DICOM (0020,0020), rows then columns, empty when not stated
};

struct Photo {
  cv::Mat bgr;   // CV_8UC3
  cv::Mat luma;  // CV_8UC1, BT.601 full range
  cv::Mat cb;    // CV_8UC1 of half width and height
  cv::Mat cr;
  PhotoFacts facts;
};

// Throws UserError with file and mend for what can't be read, is larger than 50 megapixels,
// or is a moving picture.
Photo read_photo(const std::filesystem::path& file);

// UserError for a picture of more than 50 megapixels; asked before it is decoded.
void refuse_large(double width, double height, const std::filesystem::path& file);

// From pixels at hand: CV_8UC3 in OpenCV's order, or CV_8UC1. Odd sizes lose their last row or
// column.
Photo photo_of(const cv::Mat& bgr);

}  // namespace rhumb::reference
