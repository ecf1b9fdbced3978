// When a lens lies in the eye, told by its optic's edge.
#include "analyze/optic_stays.h"

#include <catch2/catch.hpp>
#include <opencv2/imgproc.hpp>
#include <string>

using namespace rhumb;
using namespace rhumb::analyze;
using outcome::LensState;
using outcome::TimelineRow;

namespace {

constexpr std::size_t frames_a_window = 5;

double time_of(std::size_t frame) { return 0.1 * static_cast<double>(frame); }

// A window a letter, half a second each: '.' the pupil is clear and no edge shows, 'o' the edge
// shows, '?' something lies over it, 'x' no picture of the eye, '~' a faint edge.
std::vector<OpticWindow> windows_of(const std::string& letters) {
  std::vector<OpticWindow> windows;
  for (const char letter : letters) {
    const std::size_t first = frames_a_window * windows.size();
    OpticWindow window{time_of(first), time_of(first + frames_a_window - 1), {}};
    window.optic.room = letter == 'x' ? 0.0 : letter == '?' ? 0.3 : 0.9;
    window.optic.share = letter == 'o' ? 0.5 : letter == '~' ? 0.2 : letter == 'x' ? 0.0 : 0.02;
    windows.push_back(window);
  }
  return windows;
}

std::vector<OpticStay> stays_of(const std::string& letters) {
  return optic_stays(windows_of(letters));
}

// The lens column, a letter a window, of rows that had no lens but where `read` has 'P' or 'N'.
std::string column(const std::string& letters, const std::string& read, bool previous_lens) {
  std::vector<TimelineRow> rows(frames_a_window * letters.size());
  for (std::size_t k = 0; k < rows.size(); ++k) {
    rows[k].time_s = time_of(k);
    rows[k].lens = LensState::None;
    const char has = read[k / frames_a_window];
    if (has == 'P') rows[k].lens = LensState::Previous;
    if (has == 'N') rows[k].lens = LensState::New;
    if (has == 'P' || has == 'N') rows[k].axis = outcome::Interval{1.0, 0.9, 1.1};
  }
  note_unread_lens(stays_of(letters), previous_lens, rows);
  std::string out;
  for (std::size_t k = 0; k < rows.size(); k += frames_a_window) {
    const LensState lens = rows[k].lens;
    out += lens == LensState::None       ? '.'
           : lens == LensState::New      ? 'N'
           : lens == LensState::Previous ? 'P'
                                         : 'u';
    for (std::size_t j = k; j < k + frames_a_window; ++j) CHECK(rows[j].lens == lens);
  }
  return out;
}

}  // namespace

TEST_CASE("an optic that was not there before has arrived") {
  const auto stays = stays_of("...oooooo");
  REQUIRE(stays.size() == 1);
  CHECK(stays[0].arrived);
  CHECK(stays[0].start_s == Approx(1.5));
  CHECK(stays[0].end_s == Approx(4.4));
}

TEST_CASE("an edge that is there from the start, or after a view that says nothing, has not") {
  CHECK_FALSE(stays_of("oooooo").at(0).arrived);
  CHECK_FALSE(stays_of("???oooooo").at(0).arrived);
  CHECK_FALSE(stays_of("~~~oooooo").at(0).arrived);
  CHECK_FALSE(stays_of(".oooooo").at(0).arrived);
}

TEST_CASE("a stay outlasts what covers it, not a clear view without an edge") {
  CHECK(stays_of("..oo??xxoo").size() == 1);
  CHECK(stays_of("..oo.oo").size() == 1);
  CHECK(stays_of("..oooo??").at(0).end_s == Approx(3.9));
  const auto twice = stays_of("..oooo...oooo");
  REQUIRE(twice.size() == 2);
  CHECK(twice[0].end_s == Approx(2.9));
  CHECK(twice[1].start_s == Approx(4.5));
  CHECK(twice[1].arrived);
}

TEST_CASE("an edge that is clearly gone later has left") {
  CHECK_FALSE(stays_of("..oooo").at(0).left);
  CHECK_FALSE(stays_of("..oooo?x?").at(0).left);
  CHECK_FALSE(stays_of("..oooo.").at(0).left);
  CHECK(stays_of("..oooo..").at(0).left);
}

TEST_CASE("an edge that shows for less than two seconds is an instrument's") {
  CHECK(stays_of("...ooo...").empty());
  CHECK(stays_of("...oooo...").size() == 1);
}

TEST_CASE("the lens column has the new lens where it was seen to come, whatever of it was read") {
  CHECK(column("...oooooo", ".........", false) == "...NNNNNN");
  CHECK(column("...oooooo", "......NN.", false) == "...NNNNNN");
  CHECK(column("oooooo", "......", false) == "uuuuuu");
  CHECK(column("..oooo...", ".........", false) == "..uuuu...");
  CHECK(column(".........", ".........", false) == ".........");
}

TEST_CASE("of two lenses the one that comes after the previous one was read is the new one") {
  CHECK(column("oooo...oooo", "PPPP.......", true) == "PPPP...NNNN");
  CHECK(column("oooooo...oooo", "PPPP.........", true) == "PPPPuu...NNNN");
  CHECK(column("oooo...oooo", "...........", true) == "uuuu...uuuu");
  CHECK(column("...oooo", ".......", true) == "...uuuu");
}

TEST_CASE("a row without a lens says that one is seen and not read") {
  std::vector<TimelineRow> rows(1);
  rows[0].time_s = 2.0;
  rows[0].lens = LensState::None;
  rows[0].why_not = "no lens marks are seen";
  note_unread_lens(stays_of("...oooo"), false, rows);
  CHECK(rows[0].why_not.find("a lens is seen") == 0);
}

TEST_CASE("an optic drawn into the pictures is seen from the window in which it comes") {
  const lens::PatchGeometry geometry;
  lens::PatchStore patches(geometry, 1U << 26U);
  std::vector<double> time_s;
  std::vector<Window> windows(8);
  const Eigen::Vector2d middle = geometry.pixel_from({0.03, -0.02});
  for (std::size_t frame = 0; frame < frames_a_window * windows.size(); ++frame) {
    lens::Patch patch{cv::Mat(geometry.size_px, geometry.size_px, CV_8UC1, cv::Scalar(110)),
                      cv::Mat(geometry.size_px, geometry.size_px, CV_8UC1, cv::Scalar(60))};
    if (frame >= 3 * frames_a_window)
      cv::circle(patch.luma, {cvRound(middle.x()), cvRound(middle.y())},
                 cvRound(0.55 * geometry.pixels_per_radius), cv::Scalar(122), 2, cv::LINE_AA);
    // A reflex that glares, and a picture in which the eye was not found.
    cv::circle(patch.luma, {90, 80}, 6, cv::Scalar(255), cv::FILLED);
    patches.append(frame == 17 ? lens::Patch{} : patch);
    time_s.push_back(time_of(frame));
  }
  for (std::size_t k = 0; k < windows.size(); ++k) {
    windows[k].first_frame = frames_a_window * k;
    windows[k].frame_count = frames_a_window;
  }
  const auto looked = look_for_optic(patches, time_s, windows, 0.55, 1);
  REQUIRE(looked.size() == windows.size());
  for (std::size_t k = 0; k < looked.size(); ++k) {
    CAPTURE(k);
    CHECK((looked[k].optic.share > 0.8) == (k >= 3));
    CHECK((looked[k].optic.share < 0.05) == (k < 3));
  }
  CHECK((looked[5].optic.centre - Eigen::Vector2d(0.03, -0.02)).norm() < 0.02);
  const auto stays = optic_stays(looked);
  REQUIRE(stays.size() == 1);
  CHECK(stays[0].arrived);
  CHECK(stays[0].start_s == time_of(15));
  CHECK(stays[0].end_s == time_of(39));
  const auto together = look_for_optic(patches, time_s, windows, 0.55, 3);
  for (std::size_t k = 0; k < looked.size(); ++k)
    CHECK(together[k].optic.share == looked[k].optic.share);
}
