// What is varied in a suite, level by level.
#pragma once

#include <string>
#include <vector>

#include "render/scene.h"
#include "validate/condition.h"
#include "validate/suite.h"

namespace rhumb::validate {

struct Level {
  double value = 0.0;
  std::string label;
  bool mixed = false;  // also drawn in the suite that mixes all groups
};

struct Group {
  std::string name;
  std::vector<Level> levels;
  std::size_t usual = 0;  // place of the usual level
  void (*apply)(render::Scene& scene, double value);

  Condition condition(std::size_t level) const {
    return {name, levels[level].value, levels[level].label, level == usual};
  }
};

// In the order in which they are applied: later ones build on what earlier ones have set.
std::vector<Group> make_groups();

// An eye and an operation drawn by the seed alone: all that is not under test varies as it does in
// life.
render::Scene draw_scene(std::uint64_t seed, const SuiteOptions& options);

}  // namespace rhumb::validate
