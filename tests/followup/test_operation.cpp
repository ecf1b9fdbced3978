// The operation as visit zero: on a rendered eye whose lens is known to have turned between the end
// of the operation and the photographs.
#include <unistd.h>

#include <catch2/catch.hpp>
#include <filesystem>
#include <opencv2/imgproc.hpp>

#include "angle/angle.h"
#include "casefile/read.h"
#include "files/user_error.h"
#include "followup/operation.h"
#include "followup/series.h"
#include "render/produce.h"
#include "render/scene_file.h"

using namespace rhumb;
using angle::deg_from_rad;
using angle::rad_from_deg;
namespace fs = std::filesystem;

TEST_CASE("a point goes where its pixel goes when a picture is laid upright") {
  cv::Mat picture = cv::Mat::zeros(40, 60, CV_8UC3);
  picture.at<cv::Vec3b>(7, 11) = {1, 2, 250};
  for (const auto superior : {casefile::Superior::Top, casefile::Superior::Bottom,
                              casefile::Superior::Left, casefile::Superior::Right})
    for (const bool mirrored : {false, true}) {
      const cv::Mat laid = followup::upright_picture(picture.clone(), superior, mirrored);
      const Eigen::Vector2d at =
          followup::upright_point({11, 7}, picture.size(), superior, mirrored);
      INFO(static_cast<int>(superior) << mirrored << " " << at.transpose());
      REQUIRE(cv::Rect(0, 0, laid.cols, laid.rows)
                  .contains(cv::Point(cvRound(at.x()), cvRound(at.y()))));
      CHECK(laid.at<cv::Vec3b>(cvRound(at.y()), cvRound(at.x()))[2] == 250);
    }
}

TEST_CASE("the clearest still frames of the end are taken, spread over it") {
  outcome::CaseOutcome outcome;
  followup::OperationOptions options;
  CHECK(followup::clearest_rows(outcome, options).empty());  // no final axis
  outcome.final.emplace();
  outcome.final->start_s = 3.0;
  outcome.final->end_s = 6.0;
  for (int i = 0; i < 80; ++i) {
    outcome::TimelineRow row;
    row.time_s = 0.1 * i;
    row.eye_found = true;
    row.axis = outcome::Interval{1.0, 0.9, 1.1};
    row.confidence = 0.9;
    row.pose.ring_share = 0.5;
    outcome.rows.push_back(row);
  }
  outcome.rows[10].pose.ring_share = 1.0;  // before the last still stretch
  outcome.rows[34].pose.ring_share = 0.9;
  outcome.rows[45].pose.ring_share = 0.9;
  outcome.rows[55].pose.ring_share = 0.9;
  outcome.rows[56].pose.ring_share = 1.0;
  outcome.rows[56].moving = true;
  CHECK(followup::clearest_rows(outcome, options) == std::vector<std::size_t>{34, 45, 55});
  for (auto& row : outcome.rows) row.axis.reset();
  CHECK(followup::clearest_rows(outcome, options).empty());
}

TEST_CASE("the recording of an operation is visit zero", "[long]") {
  const fs::path folder = fs::temp_directory_path() / ("rhumb-op-test-" + std::to_string(getpid()));
  render::Scene operation;
  operation.name = "operation";
  operation.seed = 4711;
  operation.seconds = 5.0;
  operation.eye.iris = render::Iris::Green;
  operation.lens.contrast = 0.75;
  operation.plan.axis_rad = rad_from_deg(60);
  operation.steps = {{render::Act::Insert, 0.4, 1.0, rad_from_deg(62.0), render::Tool::Injector}};
  render::Scene visits = operation;
  visits.steps.clear();
  render::Visit visit;
  visit.label = "1 day";
  visit.date = "2026-03-03";
  visit.axis_rad = rad_from_deg(66.5);
  visit.head_tilt_rad = rad_from_deg(3.4);
  visits.visits.push_back(visit);
  visit.label = "1 month";
  visit.date = "2026-04-03";
  visit.axis_rad = rad_from_deg(67.0);
  visit.light = render::Light::Diffuse;
  visit.head_tilt_rad = rad_from_deg(-5.1);
  visits.visits.push_back(visit);
  render::complete(operation);
  render::complete(visits);
  render::produce(operation, folder / "operation", {});
  render::produce(visits, folder / "series", {});
  const casefile::Series series = casefile::read_series(folder / "series" / "series.toml");
  const auto read = followup::read_operation(folder / "operation" / "case.toml", series.eye, {});
  REQUIRE_FALSE(read.frames.empty());
  CHECK(read.meridians_known);  // by ink
  followup::SeriesOptions options;
  options.operation = &read;
  const auto out = followup::measure_series(series, options);
  REQUIRE(out.visits.size() == 3);
  CHECK(out.visits[0].label == "operation");
  const double turned_deg[] = {0.0, 4.5, 5.0}, axis_deg[] = {62.0, 66.5, 67.0};
  for (std::size_t v = 0; v < 3; ++v) {
    REQUIRE(out.visits[v].axis);
    REQUIRE(out.visits[v].drift);
    CHECK(deg_from_rad(out.visits[v].drift->value_rad) == Approx(turned_deg[v]).margin(0.7));
    CHECK(deg_from_rad(out.visits[v].drift->low_rad) <= turned_deg[v]);
    CHECK(deg_from_rad(out.visits[v].drift->high_rad) >= turned_deg[v]);
    // Axes count from the meridians that the ink shows, not from the first photograph.
    CHECK(deg_from_rad(out.visits[v].axis->value_rad) == Approx(axis_deg[v]).margin(1.0));
  }
  CHECK_THROWS_AS(followup::read_operation(folder / "operation", series.eye, {}), UserError);
  CHECK_THROWS_WITH(
      followup::read_operation(folder / "operation" / "case.toml", casefile::Eye::Left, {}),
      Catch::Contains("other eye"));
  fs::remove_all(folder);
}
