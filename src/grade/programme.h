// A whole programme: every case graded, every operator summed up, compared as far as numbers allow.
#pragma once

#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "grade/cohort.h"
#include "grade/comparison.h"
#include "grade/grading.h"
#include "grade/operators.h"
#include "grade/readers.h"

namespace rhumb::grade {

struct Programme {
  std::string cohort_file;  // its name, without folders
  std::vector<std::string> covariates;
  Rubric rubric;
  CusumLimits limits;
  std::vector<GradedCase> cases;           // in the order of the table
  std::vector<OperatorSummary> operators;  // by code
  OperatorSummary everyone;                // all cases together; its learning curve is left empty
  Comparison comparison;
  std::optional<Agreement> agreement;
  std::string only_operator;  // empty: the whole programme
};

// Reads the outcome of every row, on `threads` threads (0: one a core); the result does not depend
// on them. `failures[i]`, where not empty, is why row i has no outcome: its analysis failed.
std::vector<CaseReading> read_outcomes(const Cohort& cohort,
                                       const std::vector<std::string>& failures,
                                       unsigned threads = 0);

// Links to case pages are relative to `out`. UserError as compare_operators and agreement_of.
Programme grade_programme(const Cohort& cohort, std::vector<CaseReading> readings,
                          const Rubric& rubric, const std::vector<HumanReading>* human,
                          const std::filesystem::path& human_file,
                          const std::filesystem::path& out);

// Only what concerns one operator: own cases, own summary, own row of the comparison. The
// programme's typical deviation stays only where at least three others contribute to it; agreement
// of readers goes. UserError when the cohort has no case of that operator.
Programme for_operator(const Programme& programme, const std::string& code);

}  // namespace rhumb::grade
