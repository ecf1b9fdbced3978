// What every output and every help text says about its use.
#pragma once

namespace rhumb::outcome {

inline constexpr const char* caution =
    "For review after surgery. Not for guidance, diagnosis or treatment; clinical decisions rest "
    "with licensed practitioners.";

}  // namespace rhumb::outcome
