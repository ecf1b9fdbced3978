// Agreement of the program with people who read the same cases, and of those people with each
// other.
#pragma once

#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "grade/grading.h"
#include "statistics/agreement.h"
#include "statistics/icc.h"

namespace rhumb::grade {

struct HumanReading {
  int line = 0;
  std::string case_id;
  std::string reader;  // a code
  double axis_deg = 0.0;
};

// Columns `case`, `reader`, `axis_deg`; a reader's further rows of the same case are repeats.
// UserError with file, line, column and mend; an axis lies in 0 to 180.
std::vector<HumanReading> read_readings(const std::filesystem::path& file);

struct ReadingPair {
  std::string case_id;
  double mean_axis_deg = 0.0;   // axial mean of the two
  double difference_deg = 0.0;  // first minus second, in (-90, 90]
};

struct PairAgreement {
  std::string first, second;  // "rhumb" or a reader's code
  std::vector<ReadingPair> pairs;
  std::optional<statistics::BlandAltman> limits;  // from three cases on
};

struct GroupAgreement {
  std::vector<std::string> readers;
  std::size_t cases = 0;  // that all of them read and that have a plan
  std::optional<statistics::IntraclassCorrelation> icc;
};

struct ReaderRepeatability {
  std::string reader;
  std::optional<statistics::Repeatability> result;  // where cases were read twice
};

struct Agreement {
  std::size_t readings = 0;
  std::size_t unmatched = 0;         // readings of cases that the cohort does not hold
  std::vector<PairAgreement> pairs;  // program against each reader, then readers against each other
  std::vector<GroupAgreement> groups;  // the readers; the readers and the program
  std::vector<ReaderRepeatability> repeatability;
};

// The first reading of each reader and case counts for agreement, all of them for repeatability.
// Differences are those of axes: 179 and 1 differ by 2. Intraclass correlation is taken of
// deviations from the planned axis, since the axes themselves differ from case to case by
// intention. UserError when a reading names an id that two outcomes share.
Agreement agreement_of(const std::vector<HumanReading>& readings,
                       const std::vector<GradedCase>& cases, const std::filesystem::path& file);

}  // namespace rhumb::grade
