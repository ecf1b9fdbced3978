// Any bytes as an outcome: as grading reads it, and as `compare` does. What stands behind a zero
// byte is the timeline.
#include <cmath>
#include <cstdint>
#include <string>

#include "fuzz/refused.h"
#include "grade/reading.h"
#include "report/compare.h"

namespace {

void check_angle(const std::optional<rhumb::grade::AngleDeg>& angle) {
  if (!angle) return;
  check(std::isfinite(angle->value) && std::isfinite(angle->low) && std::isfinite(angle->high));
  check(angle->low <= angle->value && angle->value <= angle->high);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t count) {
  const std::string text(reinterpret_cast<const char*>(bytes), count);
  const std::size_t end = text.find('\0');
  const std::string result = text.substr(0, end);
  const std::string timeline = end == std::string::npos ? "" : text.substr(end + 1);

  const rhumb::grade::CaseReading reading = rhumb::grade::parse_outcome(result);
  check_angle(reading.axis);
  check_angle(reading.deviation);
  const bool graded = reading.not_graded == rhumb::grade::NotGraded::No;
  check(graded == reading.reason.empty());
  check(!graded || (reading.axis && reading.deviation));
  check(reading.reason.find('\n') == std::string::npos);

  values_or_one_line([&] {
    const auto outcome = rhumb::report::parse_compared(result, timeline, "any");
    const auto change = rhumb::report::change_between(outcome, outcome);
    check(change.newly_read == 0 && change.no_longer_read == 0);
  });
  return 0;
}
