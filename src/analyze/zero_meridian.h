// Several references made into one zero meridian.
#pragma once

#include <complex>
#include <optional>
#include <span>

#include "casefile/case.h"
#include "outcome/outcome.h"

namespace rhumb::analyze {

// What one reference says: eye meridian = atlas angle + rad.
struct ZeroMeridian {
  casefile::ReferenceKind kind = casefile::ReferenceKind::None;
  double rad = 0.0;
  double se_rad = 0.0;
  bool relative = false;  // to a previous lens whose axis is not known
  // Mean of exp(2 i m) over the meridians m that it rests on; see Tie.
  std::complex<double> doubled_meridians;

  // A lens's axis is the same after a half turn, and so is what it says.
  bool axis_only() const { return kind == casefile::ReferenceKind::PreviousLens; }
};

struct CombinedZero {
  double rad = 0.0;
  double se_rad = 0.0;
  bool relative = false;
  std::complex<double> doubled_meridians;
  // The largest distance from the mean where the references disagree beyond the 99 % point of chi
  // square, which se_rad then holds; else 0.
  double disagree_by_rad = 0.0;
  // Of ink beside another kind of reference: where the mean puts its marks, less where they are
  // stated.
  std::optional<outcome::Interval> reference_marking;
};

// Mean by inverse variance; nothing without a reference. A previous lens whose axis is not known
// ties the picture to itself alone: beside any other reference it takes no part.
std::optional<CombinedZero> combine(std::span<const ZeroMeridian> zeros);

}  // namespace rhumb::analyze
