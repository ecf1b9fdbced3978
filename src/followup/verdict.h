// What a series comes to, in one sentence.
#pragma once

#include <string>

#include "followup/series.h"

namespace rhumb::followup {

// A turn for people: "1.2 degrees clockwise (0.9 to 1.5)"; where the interval holds both senses,
// "0.1 degrees clockwise (0.4 clockwise to 0.2 counter-clockwise)". Counter-clockwise is positive.
std::string turn_text(const outcome::Interval& turn);

// How far the lens turned from the first visit to the last that could be measured, or that none
// could be.
std::string verdict_of(const SeriesOutcome& series);

}  // namespace rhumb::followup
