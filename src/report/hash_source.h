// How a page's policy knows its own scripts and styles.
#pragma once

#include <string>

namespace rhumb::report {

// The source expression by which a content security policy (W3C, CSP level 3) knows an element's
// text.
std::string hash_source(const std::string& text);

}  // namespace rhumb::report
