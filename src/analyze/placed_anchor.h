// One anchor, placed in the recording and carried through the frames about it. For the rooms' own
// files.
#pragma once

#include <string>
#include <vector>

#include "analyze/by_hand.h"
#include "analyze/rows.h"

namespace rhumb::analyze {

// What an anchor says about one row.
struct Carried {
  std::size_t row = 0;
  double axis_rad = 0.0;  // the eye's meridians, unwrapped about the anchor's own
  double own_var =
      0.0;  // of clicking, following and creeping; not what all rows of the recording share
  double lies_still = 1.0;  // probability that the lens was not moved since it was last seen
  bool followed = false;
};

struct PlacedAnchor {
  const casefile::Anchor* anchor = nullptr;
  std::string name;   // "The anchor at 12.4 s (r1)"
  std::string fault;  // why it can't be used, empty where it can
  std::optional<std::size_t> row;
  eye::EyePose pose;
  bool pose_by_hand = false;
  bool axis_known = false;
  double axis_rad = 0.0;
  double own_var = 0.0;
  double common_var = 0.0;
  std::array<Eigen::Vector2d, 2> ends_atlas{Eigen::Vector2d::Zero(), Eigen::Vector2d::Zero()};
  outcome::LensState lens = outcome::LensState::New;
  std::vector<Carried> carried;  // in order of time

  const Carried* at(std::size_t row) const;  // null where it says nothing
};

// Where the anchor lies and what its axis is; `fault` says what is wrong. Fills the limbus of a row
// in which the eye was not found.
PlacedAnchor place_anchor(const casefile::Case& stated, const casefile::Anchor& anchor,
                          const RowInputs& inputs, std::vector<outcome::TimelineRow>& rows,
                          const HandOptions& options);

// Follows its marks and fills `carried`.
void carry_anchor(PlacedAnchor& placed, const RowInputs& inputs,
                  const std::vector<outcome::TimelineRow>& rows, const HandOptions& options);

// Rejects each anchor that clear readings about it contradict, or upholds it where another agrees
// and withdraws the program's readings of that stretch. Gives a remark for each that is upheld, in
// the order of the anchors.
std::vector<std::string> settle_contradictions(std::vector<PlacedAnchor>& anchors,
                                               std::vector<outcome::TimelineRow>& rows,
                                               std::vector<std::string>& warnings);

// Pairs of readers who have marked one frame, or frames between which the marks were followed.
std::vector<outcome::ReaderAgreement> readers_agreement(const std::vector<PlacedAnchor>& anchors);

}  // namespace rhumb::analyze
