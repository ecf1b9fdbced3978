// Which eyes are rendered for a validation, and under which conditions.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "render/scene.h"
#include "validate/condition.h"

namespace rhumb::validate {

struct Clip {
  std::string name;                   // safe as a file name, unique within a suite
  std::vector<Condition> conditions;  // one in "conditions", one of every group in "fresh"
  render::Scene scene;
};

// Seeds that thresholds may be set on, and those that figures are reported for, never meet.
enum class Seeds { Report, Tuning };

struct SuiteOptions {
  int clips = 3;  // per condition; of "fresh": in all, at least one a scenario
  Seeds seeds = Seeds::Report;
  std::uint64_t draw = 0;  // another draw of the same kind, 0 to 999
  int width = 1280;        // of the usual picture: its limbus spans some 470 pixels
  int height = 720;
  double seconds = 5.0;  // of the usual clip; some scenarios take longer
};

// Names: "conditions" varies one thing at a time (contrast, blur, compression, coverage, tilt,
// motion, resolution, reference, scenario, no lens); "fresh" draws all of them together, balanced,
// as recordings have them; "quick" is two tiny clips, to see that the machinery runs; a group's
// name is that group alone. Empty for an unknown name.
std::vector<Clip> make_suite(const std::string& name, const SuiteOptions& options);
std::vector<std::string> suite_names();

}  // namespace rhumb::validate
