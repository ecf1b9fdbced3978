// Several outcomes of one case side by side: before and after marks by hand, two versions of the
// program.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace rhumb::report {

struct StatedAxis {
  double axis_deg = 0.0;  // [0, 180)
  double low_deg = 0.0;
  double high_deg = 0.0;
};

// What an outcome's folder says, as far as it is compared.
struct ComparedOutcome {
  std::filesystem::path folder;
  std::string id;
  std::string version;
  std::string commit;
  std::string case_sha256;
  std::vector<std::string> input_sha256;
  std::optional<StatedAxis> final;
  std::optional<double> deviation_deg;
  double confidence = 0.0;
  bool rests_on_anchor = false;
  std::vector<std::pair<std::int64_t, StatedAxis>> frames;  // those with an axis, ascending
  std::int64_t frame_count = 0;
};

// What changed from one outcome to another.
struct OutcomeChange {
  std::optional<double> final_deg;  // signed, counter-clockwise positive
  bool within_first = false;        // the second's axis lies in the first's interval
  bool within_second = false;       // and the other way about
  std::int64_t read_in_both = 0;
  std::int64_t newly_read = 0;
  std::int64_t no_longer_read = 0;
  double median_deg = 0.0;  // of the absolute difference in frames read in both
  double largest_deg = 0.0;
  std::int64_t intervals_apart = 0;  // frames read in both whose intervals do not meet
};

// Reads result.json and timeline.csv. UserError that names the file where one is missing or is not
// what this program writes.
ComparedOutcome read_compared(const std::filesystem::path& folder);
// The same from the texts of the two files; `folder` only names them in messages.
ComparedOutcome parse_compared(const std::string& result, const std::string& timeline,
                               const std::filesystem::path& folder);

OutcomeChange change_between(const ComparedOutcome& first, const ComparedOutcome& second);

}  // namespace rhumb::report
