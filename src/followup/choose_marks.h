// Which of the candidates are the marks: one lens, the same at all visits.
#pragma once

#include "casefile/case.h"

namespace rhumb::followup {

struct MarkCandidate;
struct SeriesOutcome;
struct JointSolution;

// What a candidate's score must reach to be taken for this lens's marks.
double least_score(const MarkCandidate& candidate, const casefile::LensMarks& lens);

// Sets PhotoResult::chosen. The marks keep their distance from the lens centre through all visits
// (within 3 %), and most lenses turn by a few degrees only; a photograph in which two directions
// remain alike gets none.
// Gives that distance, in limbal radii; 0 when there was no candidate at all.
double choose_marks(SeriesOutcome& series, const JointSolution& joint);

}  // namespace rhumb::followup
