// Pictures of the deciding frames: straightened into the eye's frame, and as recorded.
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <string>
#include <vector>

#include "outcome/outcome.h"

namespace rhumb::report {

struct StillOptions {
  int size_px = 520;            // side of the straightened picture
  double half_side = 1.35;      // limbal radii from the limbus centre to its edges
  int recorded_width_px = 520;  // the recorded one is made smaller to this, never larger
  int jpeg_quality = 82;
};

struct Still {
  std::string straight_uri;  // data:image/jpeg;base64,...; empty where the eye was not found
  std::string recorded_uri;  // crop around the eye, or the whole picture
  cv::Rect2d recorded_px;    // what it shows, in picture coordinates
};

// Eye frame (meridian 0 to the right, 90 up) of a picture: rows from the top, `half_side` limbal
// radii from the centre to each edge. zero_rad: eye meridian = atlas angle + zero_rad.
cv::Mat straightened(const cv::Mat& picture, const eye::EyePose& pose, double zero_rad,
                     const StillOptions& options = {});

// "data:image/jpeg;base64,..."; an empty picture gives an empty text.
std::string jpeg_uri(const cv::Mat& picture, int quality);

// One an evidence frame, in order; empty entries where the recording has no such picture.
using StillSet = std::vector<std::optional<Still>>;

// Both pictures of a deciding frame. picture: BGR, as recorded. zero_rad: as above.
Still make_still(const cv::Mat& picture, const outcome::EvidenceFrame& evidence, double zero_rad,
                 const StillOptions& options = {});

}  // namespace rhumb::report
