// What a person marked by hand, as evidence with a stated reading error.
#pragma once

#include <string>
#include <vector>

#include "analyze/by_hand.h"
#include "analyze/rows.h"

namespace rhumb::analyze {

struct AnchorReport {
  std::vector<outcome::HandReading> readings;       // one an anchor, in the order of the case file
  std::vector<outcome::ReaderAgreement> agreement;  // one a pair of readers who marked the same
  std::vector<outcome::EvidenceFrame> evidence;     // the frames whose marks were used
  std::vector<std::string> warnings;  // one plain sentence for each that was not, and why
};

// Puts the axis of each anchor's two lens marks into its row and, following the marks, into the
// rows about it that have no axis or a vaguer one; marks them as resting on an anchor. The interval
// grows with the time for which the marks could not be followed, the confidence falls with the
// chance that the lens was moved meanwhile. A frame in which the eye was not found takes limbus and
// turn from the anchor itself.
//
// An anchor outside the recording or the picture, far from the eye, or against itself is named and
// not used. One against clear readings about it is named and not used either, unless a second
// anchor in the same stretch agrees with it: two that agree outweigh the program, whose readings of
// that stretch are withdrawn.
AnchorReport apply_anchors(const casefile::Case& stated, const RowInputs& inputs,
                           std::vector<outcome::TimelineRow>& rows,
                           const HandOptions& options = {});

// Hands the report over to the outcome, after summarise().
void note_anchors(AnchorReport report, outcome::CaseOutcome& outcome,
                  const HandOptions& options = {});

// A recording in which no frame decided anything still shows its eye: adds the frame in which most
// of the ring was seen, nearest to the end, without marks. Nothing where no eye was found or there
// is evidence already.
void show_clear_frame(outcome::CaseOutcome& outcome);

}  // namespace rhumb::analyze
