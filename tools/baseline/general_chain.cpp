// The baseline of tools/bench: what one gets from general-purpose routines strung together in an
// hour. Each picture is matched to the first by ORB features and a robust similarity, and the
// largest circle is sought.
//
//   general_chain VIDEO OUT.csv    writes frame, eye_rotation_deg, circle_x_px, circle_y_px,
//   circle_radius_px
#include <fmt/format.h>

#include <cmath>
#include <cstdio>
#include <exception>
#include <fstream>
#include <opencv2/calib3d.hpp>
#include <opencv2/features2d.hpp>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "video/prefetch.h"

namespace {

struct Features {
  std::vector<cv::KeyPoint> points;
  cv::Mat descriptors;
};

// Rotation against the first picture in degrees, counter-clockwise; NaN where too little matches.
double rotation_deg(const Features& first, const Features& now) {
  if (first.descriptors.empty() || now.descriptors.empty()) {
    return std::nan("");
  }
  std::vector<cv::DMatch> matches;
  cv::BFMatcher(cv::NORM_HAMMING, true).match(first.descriptors, now.descriptors, matches);
  std::vector<cv::Point2f> from;
  std::vector<cv::Point2f> to;
  for (const cv::DMatch& match : matches) {
    from.push_back(first.points[static_cast<std::size_t>(match.queryIdx)].pt);
    to.push_back(now.points[static_cast<std::size_t>(match.trainIdx)].pt);
  }
  if (from.size() < 12) {
    return std::nan("");
  }
  const cv::Mat map = cv::estimateAffinePartial2D(from, to, cv::noArray(), cv::RANSAC, 2.0);
  if (map.empty()) {
    return std::nan("");
  }
  return -std::atan2(map.at<double>(1, 0), map.at<double>(0, 0)) * 180.0 / CV_PI;
}

int run(const char* video, const char* table) {
  rhumb::video::Prefetch recording(rhumb::video::Reader::open({video}));
  const auto orb = cv::ORB::create(1500);
  std::ofstream out(table);
  out << "frame,eye_rotation_deg,circle_x_px,circle_y_px,circle_radius_px\n";
  Features first;
  while (const auto frame = recording.next()) {
    Features now;
    orb->detectAndCompute(frame->luma, cv::noArray(), now.points, now.descriptors);
    if (frame->index == 0) {
      first = now;
    }
    cv::Mat half;
    cv::resize(frame->luma, half, {}, 0.5, 0.5, cv::INTER_AREA);
    cv::medianBlur(half, half, 5);
    std::vector<cv::Vec3f> circles;
    cv::HoughCircles(half, circles, cv::HOUGH_GRADIENT, 2.0, half.rows / 2.0, 120.0, 60.0,
                     half.rows / 8, half.rows / 2);
    const double turned = rotation_deg(first, now);
    out << frame->index << ','
        << (std::isnan(turned) ? std::string() : fmt::format("{:.4f}", turned)) << ',';
    out << (circles.empty() ? std::string(",,")
                            : fmt::format("{:.1f},{:.1f},{:.1f}", 2 * circles[0][0],
                                          2 * circles[0][1], 2 * circles[0][2]))
        << '\n';
  }
  return out.good() ? 0 : 2;
}

}  // namespace

int main(int count, char** words) {
  if (count != 3) {
    std::fputs("general_chain VIDEO OUT.csv\n", stderr);
    return 2;
  }
  try {
    return run(words[1], words[2]);
  } catch (const std::exception& error) {
    std::fprintf(stderr, "general_chain: %s\n", error.what());
    return 2;
  }
}
