// Everything that a follow-up series leaves in its folder: drift.csv, result.json and the page.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "followup/series.h"

namespace rhumb::report {

// drift.csv: a row a visit, columns as README and docs/followup.md state; empty fields where
// nothing can be said.
std::string drift_csv(const followup::SeriesOutcome& series);

// result.json of a series.
std::string series_json(const followup::SeriesOutcome& series, const outcome::RunRecord& run);

// The page: one file, pictures within.
std::string series_page(const followup::SeriesOutcome& series, const outcome::RunRecord& run);

// Names that a series can leave in its folder.
const std::vector<std::string>& series_output_names();

// Writes all of them as one set into `folder`. Throws UserError where something can't be written.
void write_series(const followup::SeriesOutcome& series, const outcome::RunRecord& run,
                  const std::filesystem::path& folder);

}  // namespace rhumb::report
