// A study as JSON: what study.json holds and the page draws.
#pragma once

#include "report/json_values.h"
#include "report/study_report.h"

namespace rhumb::report {

Json study_value(const study::Study& study, const outcome::RunRecord& run);

}  // namespace rhumb::report
