// Pictures of fast recordings that are not looked at, and their rows of the timeline.
//
// Above 45 pictures a second every other one is read. What an eye or a lens does within a fortieth
// of a second is smooth at the scale that is reported, or the rows between say less.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "casefile/case.h"
#include "outcome/outcome.h"

namespace rhumb::analyze {

// A picture that was decoded, but not looked at.
struct SkippedFrame {
  std::int64_t index = 0;
  double time_s = 0.0;
  bool damaged = false;
};

// Which pictures are looked at. Asked once for each, in order.
class PictureChoice {
 public:
  // `every`: all of them.
  PictureChoice(const casefile::Case& stated, bool every);
  // True for those that stand alone, those near a moment at which something was marked by hand, and
  // those that are no less than 1/45 second after the last one that was looked at.
  bool looks_at(double time_s, bool is_key);

 private:
  bool every_;
  std::vector<double> by_hand_s_;
  std::optional<double> last_s_;
};

// `rows` with those of the skipped pictures put in: eye and axis on the cubic through the two rows
// on each side (Catmull and Rom's; on a line beside abrupt movements), confidence that of the less
// sure neighbour, interval that of the wider one and half of the turn between them, in quadrature.
// No eye is given where it moved abruptly just there, and no axis where a neighbour has none or
// another lens. A row beyond the last that was looked at repeats it.
std::vector<outcome::TimelineRow> with_skipped(const std::vector<outcome::TimelineRow>& rows,
                                               const std::vector<SkippedFrame>& skipped,
                                               std::optional<double> planned_axis_rad);

}  // namespace rhumb::analyze
