// How errors of the video's axes are distributed.
//
// An interval makes room for what may bend or hide a mark (refraction, an unseen centre, an uneven
// lens). Often little of it is there, so that errors crowd in the middle more than those of one
// normal distribution do: taken as an equal mixture of two, of which one is narrow. Its two spreads
// follow from the 95 % interval and from where half of the errors lie; the latter was measured on
// recordings, docs/method.md section 4.
#pragma once

namespace rhumb::analyze {

// Half-width of the 50 % interval as a share of that of the 95 % interval.
inline constexpr double half_share = 0.19;

// Probability that an error is under `limit_rad` where the 95 % interval reaches `half_95_rad` to
// either side; both positive.
double error_within(double limit_rad, double half_95_rad);

}  // namespace rhumb::analyze
