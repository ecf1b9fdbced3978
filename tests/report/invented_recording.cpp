#include <cmath>
#include <opencv2/imgproc.hpp>

#include "angle/angle.h"
#include "report/invented.h"
#include "video/writer.h"

namespace rhumb::report_test {
namespace {

cv::Point pixel(const Eigen::Vector2d& point) {
  return {static_cast<int>(std::lround(16.0 * point.x())),
          static_cast<int>(std::lround(16.0 * point.y()))};
}

Eigen::Vector2d polar(double radius, double rad) {
  return radius * Eigen::Vector2d(std::cos(rad), std::sin(rad));
}

cv::Mat drawing(const outcome::CaseOutcome& outcome, const outcome::TimelineRow& row) {
  cv::Mat picture(480, 640, CV_8UC3, cv::Scalar(170, 178, 190));
  const eye::EyePose& pose = row.pose;
  const cv::Point centre = pixel(pose.offset_px);
  const auto disc = [&](double radius, const cv::Scalar& colour) {
    cv::circle(picture, centre, static_cast<int>(16.0 * 150.0 * radius), colour, cv::FILLED,
               cv::LINE_AA, 4);
  };
  disc(1.4, {205, 214, 228});
  for (int vessel = 0; vessel < 23; ++vessel)
    cv::line(picture, pixel(pose.picture_from(polar(1.05, 0.27 * vessel))),
             pixel(pose.picture_from(polar(1.4, 0.27 * vessel + 0.02 * (vessel % 5)))),
             cv::Scalar(90, 90, 190), 1, cv::LINE_AA, 4);
  disc(1.0, {70, 90, 110});
  disc(0.68, {60, 70, 150});
  for (const double ink : {0.0, angle::pi})
    cv::line(picture, pixel(pose.picture_from(polar(1.0, ink - outcome.atlas_zero_meridian_rad))),
             pixel(pose.picture_from(polar(1.15, ink - outcome.atlas_zero_meridian_rad))),
             cv::Scalar(150, 60, 80), 5, cv::LINE_AA, 4);
  if (row.axis)
    for (const double radius : {-0.45, -0.40, -0.35, 0.35, 0.40, 0.45})
      cv::circle(picture,
                 pixel(pose.picture_from(
                     polar(radius, row.axis->value_rad - outcome.atlas_zero_meridian_rad))),
                 16 * 3, cv::Scalar(20, 20, 40), cv::FILLED, cv::LINE_AA, 4);
  return picture;
}

}  // namespace

void write_invented_recording(const outcome::CaseOutcome& outcome,
                              const std::filesystem::path& file) {
  video::WriterOptions options;
  options.width = 640;
  options.height = 480;
  options.preset = "ultrafast";
  video::Writer writer(file, options);
  for (const outcome::TimelineRow& row : outcome.rows)
    writer.add(drawing(outcome, row), row.time_s);
  writer.finish();
}

}  // namespace rhumb::report_test
