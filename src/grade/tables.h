// The tables of a graded programme, as text: RFC 4180, UTF-8, LF, units in the names, an empty
// field where nothing can be said.
#pragma once

#include <string>

#include "grade/programme.h"

namespace rhumb::grade {

inline constexpr int table_schema_version = 1;

std::string cases_csv(const Programme& programme);      // a row a case
std::string operators_csv(const Programme& programme);  // a row an operator, and one for all
std::string learning_csv(
    const Programme& programme);  // a row a graded case, in the operator's order
std::string agreement_csv(
    const Programme& programme);  // a row a statistic; header only without readings
std::string columns_csv(const Programme& programme);  // what each column of these tables means

// A number as tables and JSON hold it: six decimals at most, no minus zero.
double rounded(double value);

}  // namespace rhumb::grade
