#include "optics/effect.h"

#include <fmt/core.h>

#include <array>
#include <cmath>

#include "angle/angle.h"
#include "optics/operation.h"
#include "optics/residual.h"
#include "optics/worlds.h"

namespace rhumb::optics {
namespace {

using Worlds = std::vector<World>;

double absolute(double value) { return std::abs(value); }

PowerVector lens_in(const World& world, double axis_rad) {
  return lens_vector(world.lens_D, axis_rad);
}
PowerVector achieved_lens(const World& world) { return lens_in(world, world.marks_axis_rad); }

// left(world): the astigmatism that is left in the eye, as a power vector.
template <class Left>
ResidualEstimate residual_estimate(const Worlds& worlds, Left left) {
  ResidualEstimate result;
  result.cylinder_D = estimate(worlds, [&](const World& w) { return cylinder_of(left(w)); });
  PowerVector correction = -left(worlds.front());
  correction.m_D = 0.0;
  result.correction = minus_cylinder_from(correction);
  // The axis of the minus cylinder that corrects is where the eye is weakest.
  result.axis_rad =
      estimate_axis(worlds, [&](const World& w) { return astigmatism_of(-left(w)).steep_rad; });
  return result;
}

DeviationCost deviation_cost(const Worlds& worlds, double planned_rad) {
  DeviationCost cost;
  const double planned = planned_rad;
  cost.deviation_rad = estimate_axis(
      worlds, [=](const World& w) { return angle::wrap_deviation(w.marks_axis_rad - planned); });
  // An eye that the plan would have cleared: its astigmatism is the lens's, steep at the planned
  // axis.
  cost.residual = residual_estimate(
      worlds, [=](const World& w) { return achieved_lens(w) - lens_in(w, planned); });
  cost.lost_share = estimate(
      worlds, [=](const World& w) { return 2.0 * absolute(std::sin(w.marks_axis_rad - planned)); });
  return cost;
}

KeratometryEffect keratometry_effect(const Worlds& worlds, std::optional<double> planned_rad) {
  KeratometryEffect effect;
  const auto cornea = [](const World& w) { return astigmatism_of(w.cornea); };
  effect.corneal_cylinder_D =
      estimate(worlds, [=](const World& w) { return cornea(w).magnitude_D; });
  effect.steep_meridian_rad =
      estimate_axis(worlds, [=](const World& w) { return cornea(w).steep_rad; });
  effect.achieved =
      residual_estimate(worlds, [](const World& w) { return w.cornea + achieved_lens(w); });
  if (planned_rad)
    effect.planned = residual_estimate(
        worlds, [=](const World& w) { return w.cornea + lens_in(w, *planned_rad); });
  if (!loss_angle_rad(cornea(worlds.front()).magnitude_D, worlds.front().lens_D)) return effect;
  effect.loss_angle_rad = estimate(worlds, [=](const World& w) {
    return loss_angle_rad(cornea(w).magnitude_D, w.lens_D).value_or(0.0);
  });
  const auto harm = [=](const World& w) {
    return harm_turns(cornea(w), w.lens_D, w.marks_axis_rad).value_or(HarmTurns{});
  };
  effect.harm_turn_counter_clockwise_rad =
      estimate(worlds, [=](const World& w) { return harm(w).counter_clockwise_rad; });
  effect.harm_turn_clockwise_rad =
      estimate(worlds, [=](const World& w) { return harm(w).clockwise_rad; });
  return effect;
}

// The remedy that holds in at least 95 % of the worlds, or Open.
Remedy likely_remedy(const Worlds& worlds, double turn_rad) {
  std::array<std::size_t, 3> votes{};
  for (const World& w : worlds) {
    const PowerVector after = correction_after_turn(w.correction, w.lens_D, w.marks_axis_rad,
                                                    w.marks_axis_rad + turn_rad);
    ++votes.at(
        static_cast<std::size_t>(turn_or_exchange(cylinder_of(w.correction), cylinder_of(after))));
  }
  for (std::size_t i = 0; i < votes.size(); ++i)
    if (20 * votes[i] >= 19 * worlds.size()) return static_cast<Remedy>(i);
  return Remedy::Open;
}

std::string reason(const RefractionEffect& effect) {
  const double tolerated = RemedyOptions{}.tolerated_D;
  const std::string numbers = fmt::format(
      "{:.2f} D ({:.2f} to {:.2f}) of cylinder now, {:.2f} D ({:.2f} to {:.2f}) after the best "
      "turn",
      effect.cylinder_now_D.value, effect.cylinder_now_D.low, effect.cylinder_now_D.high,
      effect.cylinder_after_turn_D.value, effect.cylinder_after_turn_D.low,
      effect.cylinder_after_turn_D.high);
  switch (effect.remedy) {
    case Remedy::Neither:
      return fmt::format("{}: what is left is within {:.2f} D already.", numbers, tolerated);
    case Remedy::Turn:
      return fmt::format("{}: a turn alone would leave no more than {:.2f} D.", numbers, tolerated);
    case Remedy::Exchange:
      return fmt::format("{}: a turn alone would not bring it to {:.2f} D.", numbers, tolerated);
    case Remedy::Open:
      break;
  }
  return fmt::format("{}: too uncertain to say on which side of {:.2f} D they lie.", numbers,
                     tolerated);
}

std::vector<CurveEstimate> curve_of(const Worlds& worlds) {
  constexpr int steps = 90;
  std::vector<CurveEstimate> curve;
  for (int i = 0; i <= steps; ++i) {
    const double axis = angle::pi * i / steps;
    curve.push_back({axis, estimate(worlds, [=](const World& w) {
                       return cylinder_of(
                           correction_after_turn(w.correction, w.lens_D, w.marks_axis_rad, axis));
                     })});
  }
  return curve;
}

RefractionEffect refraction_effect(const Worlds& worlds, const Refraction& stated) {
  RefractionEffect effect;
  const auto best = [](const World& w) {
    return best_rerotation(w.correction, w.lens_D, w.marks_axis_rad);
  };
  const double turn = best(worlds.front()).turn_rad;
  const auto after = [=](const World& w) {
    return correction_after_turn(w.correction, w.lens_D, w.marks_axis_rad, w.marks_axis_rad + turn);
  };
  const auto at_spectacles = [=](const World& w) {
    return spectacle_from_corneal(after(w), stated.vertex_mm);
  };
  effect.recovered_cylinder_D =
      estimate(worlds, [=](const World& w) { return best(w).eye.magnitude_D; });
  effect.best_axis_rad =
      estimate_axis(worlds, [=](const World& w) { return best(w).best_axis_rad; });
  effect.turn_rad = estimate_axis(worlds, [=](const World& w) { return best(w).turn_rad; });
  effect.cylinder_now_D =
      estimate(worlds, [](const World& w) { return cylinder_of(w.correction); });
  effect.cylinder_after_turn_D =
      estimate(worlds, [=](const World& w) { return cylinder_of(after(w)); });
  effect.spectacle_sphere_after_turn_D = estimate(
      worlds, [=](const World& w) { return minus_cylinder_from(at_spectacles(w)).sphere_D; });
  effect.spectacle_cylinder_after_turn_D =
      estimate(worlds, [=](const World& w) { return cylinder_of(at_spectacles(w)); });
  effect.spectacle_axis_after_turn_rad = estimate_axis(
      worlds, [=](const World& w) { return minus_cylinder_from(at_spectacles(w)).axis_rad; });
  effect.manifest = minus_cylinder_from(
      vector_from(SphereCylinder{stated.sphere_D, stated.cylinder_D, stated.axis_rad}));
  effect.after_turn = minus_cylinder_from(at_spectacles(worlds.front()));
  effect.exchange_cylinder_D = estimate(worlds, [=](const World& w) {
    return lens_from_corneal_cylinder(best(w).eye.magnitude_D, w.plane);
  });
  effect.remedy = likely_remedy(worlds, turn);
  effect.remedy_reason = reason(effect);
  effect.curve = curve_of(worlds);
  return effect;
}

OperationVectors operation_vectors(const Worlds& worlds, double planned_rad) {
  const auto analysis = [=](const World& w) {
    return analyse_operation(astigmatism_of(w.cornea),
                             astigmatism_of(w.cornea + lens_in(w, planned_rad)),
                             astigmatism_of(-w.correction));
  };
  const auto value = [&](auto member) {
    return estimate(worlds, [=](const World& w) { return analysis(w).*member; });
  };
  const auto magnitude = [&](auto member) {
    return estimate(worlds, [=](const World& w) { return (analysis(w).*member).magnitude_D; });
  };
  const auto axis = [&](auto member) {
    return estimate_axis(worlds, [=](const World& w) { return (analysis(w).*member).steep_rad; });
  };
  using A = OperationAnalysis;
  OperationVectors vectors;
  vectors.intended_D = magnitude(&A::target_induced);
  vectors.induced_D = magnitude(&A::surgically_induced);
  vectors.difference_D = magnitude(&A::difference);
  vectors.intended_axis_rad = axis(&A::target_induced);
  vectors.induced_axis_rad = axis(&A::surgically_induced);
  vectors.difference_axis_rad = axis(&A::difference);
  vectors.correction_index = value(&A::correction_index);
  vectors.angle_of_error_rad =
      estimate_axis(worlds, [=](const World& w) { return analysis(w).angle_error_rad; });
  return vectors;
}

template <class Of>
PlotPoint plot_point(const Worlds& worlds, std::string label, Of of) {
  const PowerVector centre = of(worlds.front());
  return {std::move(label), centre.j0_D, centre.j45_D, ellipse_of(worlds, of)};
}

std::vector<PlotPoint> plot_of(const Worlds& worlds, const RefractiveEffect& effect,
                               std::optional<double> planned_rad) {
  std::vector<PlotPoint> plot;
  plot.push_back(plot_point(worlds, "lens as it lies", achieved_lens));
  if (planned_rad)
    plot.push_back(plot_point(worlds, "lens as planned",
                              [=](const World& w) { return lens_in(w, *planned_rad); }));
  if (effect.keratometry) {
    plot.push_back(plot_point(worlds, "cornea", [](const World& w) { return w.cornea; }));
    plot.push_back(plot_point(worlds, "left over, by keratometry",
                              [](const World& w) { return w.cornea + achieved_lens(w); }));
  }
  if (effect.refraction) {
    const double turn = effect.refraction->turn_rad.value;
    plot.push_back(plot_point(worlds, "left over, by refraction",
                              [](const World& w) { return -w.correction; }));
    plot.push_back(plot_point(worlds, "left over after the best turn", [=](const World& w) {
      return -correction_after_turn(w.correction, w.lens_D, w.marks_axis_rad,
                                    w.marks_axis_rad + turn);
    }));
  }
  return plot;
}

}  // namespace

std::optional<RefractiveEffect> refractive_effect(const StatedEye& eye,
                                                  std::optional<double> lens_cylinder_D,
                                                  const Estimate& achieved_axis_rad,
                                                  std::optional<double> planned_axis_rad) {
  if (!lens_cylinder_D || !(*lens_cylinder_D > 0.0) || !std::isfinite(*lens_cylinder_D))
    return std::nullopt;
  const Worlds worlds = worlds_of(eye, *lens_cylinder_D, achieved_axis_rad);
  RefractiveEffect effect;
  effect.lens_cylinder_D = *lens_cylinder_D;
  effect.lens_cylinder_corneal_D = estimate(worlds, [](const World& w) { return w.lens_D; });
  effect.plane_ratio = estimate(worlds, [](const World& w) { return plane_ratio(w.plane); });
  if (planned_axis_rad) effect.deviation = deviation_cost(worlds, *planned_axis_rad);
  if (eye.keratometry) effect.keratometry = keratometry_effect(worlds, planned_axis_rad);
  if (eye.refraction) effect.refraction = refraction_effect(worlds, *eye.refraction);
  if (eye.keratometry && eye.refraction && planned_axis_rad)
    effect.operation = operation_vectors(worlds, *planned_axis_rad);
  effect.plot = plot_of(worlds, effect, planned_axis_rad);
  effect.assumptions = assumptions_of(eye, achieved_axis_rad.value);
  return effect;
}

}  // namespace rhumb::optics
