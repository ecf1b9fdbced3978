// A name for a folder out of any text.
#pragma once

#include <string>
#include <string_view>

namespace rhumb::files {

// Letters, digits and '_' of ASCII as they are, a '-' for each run of anything else, the last 80
// characters: nothing that leads elsewhere or needs quoting. Two texts may give the same name.
std::string plain_name(std::string_view text);

}  // namespace rhumb::files
