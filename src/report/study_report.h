// Everything that a study of many eyes leaves in its folder.
#pragma once

#include <filesystem>
#include <string>

#include "outcome/outcome.h"
#include "study/study.h"

namespace rhumb::report {

// Tables as RFC 4180 has them; columns.csv says what each column means. An empty field: nothing can
// be said.
std::string study_csv(const study::Study& study);        // a row an eye and visit
std::string intervals_csv(const study::Study& study);    // a row an interval between visits
std::string photographs_csv(const study::Study& study);  // a row a photograph
std::string agreement_csv(const study::Study& study);    // readers, repeatability
std::string study_columns_csv(const study::Study& study);

// The same in one file, with the criteria and the run; docs/schemas/study.schema.json has its form.
std::string study_json(const study::Study& study, const outcome::RunRecord& run);

// The page: one file, charts within.
std::string study_page(const study::Study& study, const outcome::RunRecord& run);

// Writes all of them as one set into `folder`. UserError where something can't be written.
void write_study(const study::Study& study, const outcome::RunRecord& run,
                 const std::filesystem::path& folder);

}  // namespace rhumb::report
