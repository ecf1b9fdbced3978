// A graded programme as one JSON document (docs/schemas/grade.schema.json), for scripts and for the
// page.
#pragma once

#include <string>

#include "grade/programme.h"

namespace rhumb::grade {

// Indented, keys in a stated order, ends with a line feed. The same programme gives the same bytes.
std::string grade_json(const Programme& programme);

}  // namespace rhumb::grade
