// DICOM photographs (ophthalmic photography 8 bit, VL photographic image and others of visible
// light).
#pragma once

#include <filesystem>
#include <opencv2/core.hpp>

namespace rhumb::reference {

struct PhotoFacts;

// CV_8UC3 (OpenCV's order) or CV_8UC1. Fills laterality, date and orientation of `facts`, and reads
// no patient data. Throws UserError.
cv::Mat read_dicom_photo(const std::filesystem::path& file, PhotoFacts& facts);

}  // namespace rhumb::reference
