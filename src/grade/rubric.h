// What a programme holds to be good: levels, thresholds and the settings of its charts.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace rhumb::grade {

struct Level {
  std::string name;
  std::optional<double> at_most_deg;  // the last level has no bound
  std::string source;
};

enum class Scale { SquareRoot, Degrees };

// Defaults are those of the shipped file default_rubric.toml, which gives their sources.
struct Rubric {
  std::string name;
  std::string version;
  std::string file;           // as given, "built in" for the default
  std::vector<Level> levels;  // from the best to the worst, two or more
  double widest_interval_deg = 10.0;
  struct Cusum {
    double failure_beyond_deg = 5.0;
    double acceptable_share = 0.10;
    double unacceptable_share = 0.20;
    double false_alarm = 0.10;
    double missed = 0.10;
  } cusum;
  struct Learning {
    int window_cases = 10;
    int minimum_cases = 5;
  } learning;
  struct Comparison {
    int minimum_cases = 10;
    Scale scale = Scale::SquareRoot;
    std::vector<std::string> adjust_for;
  } comparison;
  struct Outlier {
    double beyond_deg = 10.0;
    double robust_z = 3.5;
  } outlier;

  std::vector<double> thresholds_deg() const;  // bounds of all levels but the last
};

// The text of the shipped rubric.
std::string_view default_rubric_text();
Rubric default_rubric();

// UserError with file, line, key and mend for anything that is no rubric: unknown keys, levels out
// of order, numbers out of range.
Rubric read_rubric(const std::filesystem::path& file);
Rubric parse_rubric(std::string_view text, const std::string& file);

}  // namespace rhumb::grade
