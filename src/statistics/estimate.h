// A number with the interval that belongs to it; the unit is that of the data it came from.
#pragma once

namespace rhumb::statistics {

struct Estimate {
  double value = 0.0;
  double low = 0.0;
  double high = 0.0;
};

}  // namespace rhumb::statistics
