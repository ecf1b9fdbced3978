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
  const eye::EyeAtlas atlas{};
  const ChamberReading chamber{};
  const Tie tie;
  const RowInputs inputs{
      pass, &atlas, 0.0, 0.0, coarse, fine, chamber, tie, previous_believed, current_believed, {}};
  return make_rows(inputs).front().lens;
}

}  // namespace

TEST_CASE("Marks that may be another lens's leave the lens unknown") {
  CHECK(column(true, false, 0.9F) == LensState::Unknown);
  CHECK(column(true, false, 0.1F) == LensState::None);
  CHECK(column(false, false, 0.9F) == LensState::None);
  CHECK(column(true, true, 0.9F) == LensState::New);
}
