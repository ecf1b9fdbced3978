// The columns of each table.
#pragma once

#include "grade/columns.h"
#include "grade/programme.h"

namespace rhumb::grade {

struct OperatorRow {
  const OperatorSummary* summary = nullptr;
  const OperatorComparison* comparison = nullptr;  // may be missing
  bool is_everyone = false;
};

struct LearningRow {
  const std::string* code = nullptr;
  const LearningPoint* point = nullptr;
};

Columns<GradedCase> case_columns(const Programme& programme);
Columns<OperatorRow> operator_columns(const Programme& programme);
Columns<LearningRow> learning_columns();

// A threshold as part of a column's name: 5, 7.5.
std::string threshold_name(double threshold_deg);

}  // namespace rhumb::grade
