// Which eyes are rendered for a validation, and under which conditions.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "render/scene.h"

namespace rhumb::validate {

struct Condition {
  std::string group;  // "contrast", "blur", ...
  std::string unit;   // of `level`, empty for a share
  double level = 0.0;
  bool usual = false;  // the level that all other groups have
};

struct Clip {
  std::string name;  // safe as a file name, unique within a suite
  Condition condition;
  render::Scene scene;
};

// Seeds that thresholds may be set on, and those that figures are reported for, never meet.
enum class Seeds { Report, Tuning };

struct SuiteOptions {
  int clips = 3;  // per condition
  Seeds seeds = Seeds::Report;
  int width = 960;  // of the usual picture
  int height = 540;
  double seconds = 6.0;
};

// Names: "conditions" (seven groups: contrast, blur, compression, coverage, tilt, torsion speed,
// resolution), "quick" (two tiny clips, to see that the machinery runs), or one group's name. Empty
// for an unknown name.
std::vector<Clip> make_suite(const std::string& name, const SuiteOptions& options);
std::vector<std::string> suite_names();

}  // namespace rhumb::validate
