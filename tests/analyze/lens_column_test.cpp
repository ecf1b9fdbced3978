// What the lens column says of marks that are not believed.
#include <catch2/catch.hpp>

#include "analyze/rows.h"

using namespace rhumb;
using namespace rhumb::analyze;
using outcome::LensState;

namespace {

// One frame with what may be a new lens's marks, on a path of so much probability.
LensState column(bool previous_believed, bool current_believed, float near_path) {
  Pass pass{{}, lens::PatchStore(lens::PatchGeometry{}, 0), {}};
  pass.frames.push_back(SeenFrame{});
  FineReading fine{};
  FineAxis axis;
  axis.phase = timeline::Phase::New;
  axis.given = true;
  fine.frames.push_back(axis);
  FrameReading coarse{};
  coarse.posterior.near_path.push_back(near_path);
  coarse.posterior.moving.push_back(0.0F);
  coarse.path.phase.push_back(axis.phase);
  coarse.path.evidence.push_back(3.0F);
  const eye::EyeAtlas atlas{};
  const ChamberReading chamber{};
  const Tie tie;
  const RowInputs inputs{
      pass, &atlas, 0.0, 0.0, coarse, fine, chamber, tie, previous_believed, current_believed, {}};
  return make_rows(inputs).front().lens;
}

// Three stays of a lens that is believed, ten frames each, apart by gaps: the path is sure of the
// first and last, not of the middle one.
std::vector<outcome::TimelineRow> stays(bool tied, float middle = 0.3F) {
  Pass pass{{}, lens::PatchStore(lens::PatchGeometry{}, 0), {}};
  FrameReading coarse{};
  FineReading fine{};
  for (std::size_t k = 0; k < 50; ++k) {
    SeenFrame seen;
    seen.index = static_cast<std::int64_t>(k);
    seen.time_s = 0.04 * static_cast<double>(k);
    seen.pose.found = true;
    pass.frames.push_back(seen);
    FineAxis axis;
    axis.phase = k / 10 % 2 == 0 ? timeline::Phase::New : timeline::Phase::None;
    axis.given = true;
    axis.se_rad = 1e-3;
    axis.own = {k / 10 != 2 || middle > 0.6F, 0.0, 1e-3};
    fine.frames.push_back(axis);
    coarse.posterior.near_path.push_back(k / 10 == 2 ? middle : 1.0F);
    coarse.posterior.moving.push_back(0.0F);
    coarse.path.phase.push_back(axis.phase);
    coarse.path.evidence.push_back(3.0F);
  }
  const eye::EyeAtlas atlas{};
  const ChamberReading chamber{};
  Tie tie;
  tie.axes_can_be_given = tied;
  return make_rows({pass, &atlas, 0.0, 0.0, coarse, fine, chamber, tie, false, true, {}, true});
}

}  // namespace

TEST_CASE("A stay of which no frame could be read is no lens that was seen") {
  const auto rows = stays(true);
  CHECK(rows[5].lens == LensState::New);
  CHECK(rows[15].lens == LensState::None);
  CHECK(rows[25].lens == LensState::Unknown);
  CHECK(rows[45].lens == LensState::New);
  // Nor is a brief one that the path is never sure of, and its axes go too.
  const auto doubted = stays(true, 0.7F);
  CHECK(doubted[25].lens == LensState::Unknown);
  CHECK_FALSE(doubted[25].axis);
  CHECK(doubted[5].axis);
  CHECK(stays(true, 0.99F)[25].lens == LensState::New);
  // Where nothing ties the picture to the meridians no axis is given, which says nothing of lenses.
  CHECK(stays(false)[5].lens == LensState::New);
}

TEST_CASE("Marks that may be another lens's leave the lens unknown") {
  CHECK(column(true, false, 0.9F) == LensState::Unknown);
  CHECK(column(true, false, 0.1F) == LensState::None);
  CHECK(column(false, false, 0.9F) == LensState::None);
  CHECK(column(true, true, 0.9F) == LensState::New);
}
