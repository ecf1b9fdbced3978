// Everything that grading leaves behind.
#pragma once

#include <filesystem>

#include "grade/programme.h"

namespace rhumb::grade {

// cases.csv, operators.csv, learning.csv, agreement.csv, columns.csv, grade.json and grade.html
// into `out`, which is made where it is missing. Written aside and moved in together; UserError
// where that is not possible.
void write_programme(const Programme& programme, const std::filesystem::path& out);

}  // namespace rhumb::grade
