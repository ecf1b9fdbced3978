#include "validate/suite.h"

#include <fmt/core.h>

#include <algorithm>

#include "render/rng.h"
#include "render/scene_file.h"
#include "validate/groups.h"

namespace rhumb::validate {
namespace {

using render::Scene;

constexpr std::uint64_t first_report_seed = 5'000'000;
constexpr std::uint64_t first_tuning_seed = 1'000;
constexpr std::uint64_t first_draw_seed = 10'000'000;  // follow-up series have 7,000,000 on
constexpr std::uint64_t seeds_a_draw = 1'000'000;      // so that draws never meet either

std::uint64_t seed_of(const SuiteOptions& options, std::uint64_t number) {
  // Tuning seeds lie below all reports' seeds, whatever the draw.
  if (options.seeds == Seeds::Tuning) return first_tuning_seed + options.draw * 4'000 + number;
  if (options.draw > 0) return first_draw_seed + options.draw * seeds_a_draw + number;
  return first_report_seed + number;
}

std::string safe(std::string name) {
  std::erase(name, '\'');
  std::replace(name.begin(), name.end(), ' ', '-');
  std::replace(name.begin(), name.end(), '/', '-');
  return name;
}

Clip finished(std::string name, std::vector<Condition> conditions, Scene scene) {
  scene.name = name;
  render::complete(scene);
  return {std::move(name), std::move(conditions), std::move(scene)};
}

std::vector<Clip> quick_suite(SuiteOptions options) {
  options.width = 480;
  options.height = 272;
  options.seconds = 2.4;
  std::vector<Clip> clips;
  for (const double contrast : {0.6, 0.8}) {
    Scene s = draw_scene(seed_of(options, 900), options);
    s.lens.contrast = contrast;
    s.camera.fps = 12.5;
    clips.push_back(finished(fmt::format("quick-{}", clips.size() + 1),
                             {{"contrast", contrast, fmt::format("{:g}", contrast), false}}, s));
  }
  return clips;
}

// The same eyes under every level of a group, so that levels differ by the condition alone.
std::vector<Clip> one_at_a_time(const std::string& name, const SuiteOptions& options) {
  std::vector<Clip> clips;
  std::uint64_t number = 0;
  for (const Group& g : make_groups()) {
    number += 100;
    if (name != "conditions" && name != safe(g.name)) continue;
    for (int i = 0; i < options.clips; ++i)
      for (std::size_t level = 0; level < g.levels.size(); ++level) {
        Scene s = draw_scene(seed_of(options, number + static_cast<std::uint64_t>(i)), options);
        g.apply(s, g.levels[level].value);
        clips.push_back(
            finished(fmt::format("{}-{}-{}", safe(g.name), safe(g.levels[level].label), i + 1),
                     {g.condition(level)}, s));
      }
  }
  return clips;
}

// Levels for all clips of one group: the usual one for three in five, the others in equal shares,
// in an order that the draw shuffles. Of scenarios each has its turn.
std::vector<std::size_t> spread(const Group& g, int clips, std::uint64_t key) {
  std::vector<std::size_t> harder;
  for (std::size_t i = 0; i < g.levels.size(); ++i)
    if (g.levels[i].mixed && i != g.usual) harder.push_back(i);
  const bool turns = g.name == "scenario";
  std::vector<std::size_t> levels;
  for (int i = 0; i < clips; ++i) {
    const auto n = static_cast<std::size_t>(i);
    if (turns) {
      const std::size_t at = n % (harder.size() + 1);
      levels.push_back(at == 0 ? g.usual : harder[at - 1]);
    } else {
      levels.push_back(5 * n / static_cast<std::size_t>(clips) < 3 ? g.usual
                                                                   : harder[n % harder.size()]);
    }
  }
  render::Rng rng(key);
  for (std::size_t i = levels.size(); i > 1; --i)
    std::swap(levels[i - 1], levels[static_cast<std::size_t>(rng.below(static_cast<int>(i)))]);
  return levels;
}

int mixed_levels(const Group& g) {
  return static_cast<int>(
      std::count_if(g.levels.begin(), g.levels.end(), [](const Level& l) { return l.mixed; }));
}

std::vector<Clip> all_together(const SuiteOptions& options) {
  std::vector<Group> groups = make_groups();
  std::erase_if(groups, [](const Group& g) { return mixed_levels(g) == 0; });
  int count = options.clips;  // each level has its turn
  for (const Group& g : groups) count = std::max(count, mixed_levels(g));
  std::vector<std::vector<std::size_t>> levels;
  for (std::size_t g = 0; g < groups.size(); ++g)
    levels.push_back(
        spread(groups[g], count, render::key_of(seed_of(options, 1000 + g), 0x6d6978)));
  std::vector<Clip> clips;
  for (int i = 0; i < count; ++i) {
    const auto n = static_cast<std::size_t>(i);
    Scene s = draw_scene(seed_of(options, 2000 + n), options);
    std::vector<Condition> conditions;
    for (std::size_t g = 0; g < groups.size(); ++g) {
      groups[g].apply(s, groups[g].levels[levels[g][n]].value);
      conditions.push_back(groups[g].condition(levels[g][n]));
    }
    clips.push_back(finished(fmt::format("fresh-{:03d}-{}", i + 1, safe(conditions.back().label)),
                             conditions, s));
  }
  return clips;
}

}  // namespace

std::vector<std::string> suite_names() {
  std::vector<std::string> names{"conditions", "fresh", "quick"};
  for (const Group& g : make_groups()) names.push_back(safe(g.name));
  return names;
}

std::vector<Clip> make_suite(const std::string& name, const SuiteOptions& options) {
  if (name == "quick") return quick_suite(options);
  if (name == "fresh") return all_together(options);
  return one_at_a_time(name, options);
}

}  // namespace rhumb::validate
