#include "validate/no_lens.h"

#include <array>

namespace rhumb::validate {

using render::Scene;

void leave_lens_out(Scene& s, render::Rng& rng) {
  s.has_lens = false;
  s.negative = true;
  s.negative_kind = "no-lens";
  std::erase_if(s.steps, [](const render::Step& step) { return step.act != render::Act::Remove; });
  const double from = s.steps.empty() ? 0.0 : s.steps.back().at_s + s.steps.back().seconds;
  const double t = s.seconds - from;
  const auto tool = [&] {
    constexpr std::array tools{render::Tool::Hook, render::Tool::Cannula, render::Tool::Forceps};
    return tools[static_cast<std::size_t>(rng.below(static_cast<int>(tools.size())))];
  };
  const double first = rng.uniform(0.05, 0.15);
  const double second = rng.uniform(0.55, 0.65);
  s.steps.push_back({render::Act::Work, from + first * t, 0.3 * t, 0.0, tool()});
  s.steps.push_back({render::Act::Work, from + second * t, 0.2 * t, 0.0, tool()});
}

void put_crypts_at_pupils_edge(Scene& s, render::Rng& rng) {
  s.eye.pupil_mm = rng.uniform(6.0, 6.5);
  s.eye.pupil_irregular = 0.035;
  s.eye.edge_crypts = 26;
  s.eye.edge_vessels = 14;
}

namespace {

// Levels of `no lens`: what may look like the marks of a lens that is not there.
enum Clutter { lens_there, few_bubbles, many_bubbles, bubbles_in_ring, crypts_at_edge };

void set_clutter(Scene& s, double level) {
  render::Rng rng(render::key_of(s.seed, 0x656d7079));
  const auto clutter = static_cast<Clutter>(static_cast<int>(level));
  if (clutter == lens_there) return;
  leave_lens_out(s, rng);
  s.clutter.bubbles = 2 + rng.below(4);
  switch (clutter) {
    case lens_there:
    case few_bubbles:
      break;
    case many_bubbles:
      s.clutter.bubbles = 6 + rng.below(10);
      break;
    case bubbles_in_ring:
      s.clutter.ring_bubbles = 6 + rng.below(12);
      s.clutter.ring_mm = rng.uniform(2.2, 3.0);
      break;
    case crypts_at_edge:
      put_crypts_at_pupils_edge(s, rng);
      break;
  }
}

}  // namespace

Group no_lens_group() {
  return {"no lens",
          {{lens_there, "a lens", false},
           {few_bubbles, "few bubbles", false},
           {many_bubbles, "many bubbles", false},
           {bubbles_in_ring, "bubbles in a ring", false},
           {crypts_at_edge, "crypts at the edge", false}},
          0,
          set_clutter};
}

}  // namespace rhumb::validate
