// The programme's page: one HTML file that holds everything it needs.
#pragma once

#include <string>

#include "grade/programme.h"

namespace rhumb::grade {

// Data, style, charts and script in one file; a content security policy lets only these very
// scripts and styles run and nothing be fetched. Text from outcomes and tables is only ever data to
// it.
std::string programme_page(const Programme& programme);

// JSON that may stand inside a script element: no character that could end it.
std::string for_script_element(const std::string& json);

}  // namespace rhumb::grade
