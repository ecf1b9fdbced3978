// A DICOM video object (PS3.3 A.32: video endoscopic, microscopic and photographic images) as a
// recording: where its coded stream lies in the file, and what it says of the eye. The stream is
// read in place; nothing of the patient is read.
//
// Read by DICOM PS3.5 (explicit VR, little endian, encapsulated pixel data, annex A.4) and PS3.10
// (file meta information). Coded streams: MPEG-2, MPEG-4 AVC, HEVC.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace rhumb::video {

struct DicomObject {
  struct Range {
    std::int64_t start = 0;  // bytes from the start of the file
    std::int64_t length = 0;
  };
  std::vector<Range> stream;        // its pieces in order
  std::string laterality;           // "R", "L", "B" or empty
  std::string date;                 // ISO 8601, of acquisition or content; empty when not stated
  std::string patient_orientation;  // (0020,0020), "L\\F"; empty when not stated
};

// Nothing when the file is no DICOM file. VideoError when it is one without a video that can be
// read here.
std::optional<DicomObject> read_dicom_object(const std::filesystem::path& file);

}  // namespace rhumb::video
