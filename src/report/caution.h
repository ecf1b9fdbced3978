// What every output says about its use.
#pragma once

namespace rhumb::report {

inline constexpr const char* caution =
    "For review after surgery. Not for guidance, diagnosis or treatment; clinical decisions rest "
    "with licensed practitioners.";

}  // namespace rhumb::report
