// Vector analysis of an operation on an eye's astigmatism.
//
// Source: Alpins and Goggin, Surv Ophthalmol 2004;49:109-122 (definitions seen); the index of
// success divides by the target induced vector (from memory). Vectors live in the double-angle
// plane.
#pragma once

#include "optics/power.h"

namespace rhumb::optics {

struct OperationAnalysis {
  Astigmatism target_induced;      // target - before: what was meant
  Astigmatism surgically_induced;  // after - before: what was done
  Astigmatism difference;          // target induced - surgically induced: what is missing
  double magnitude_error_D = 0.0;  // |surgically| - |target induced|
  double angle_error_rad = 0.0;  // axis of surgically - target induced; counter-clockwise positive
  double flattening_D = 0.0;     // part of the surgically induced along the target's meridian
  double torque_D = 0.0;         // part that only turns
  // The following divide by |target induced| and are 0 where that is 0: nothing was meant.
  double correction_index = 0.0;
  double success_index = 0.0;  // |difference| / |target induced|; 0 is perfect
  double flattening_index = 0.0;
};

// All three at one plane, as the astigmatism of the eye (steep meridians).
OperationAnalysis analyse_operation(const Astigmatism& before, const Astigmatism& target,
                                    const Astigmatism& after);

}  // namespace rhumb::optics
