#include "analyze/end_strips.h"

#include "analyze/frame_scores.h"
#include "analyze/frames.h"
#include "analyze/parallel.h"
#include "angle/angle.h"
#include "lens/ring_flatten.h"

namespace rhumb::analyze {
namespace {

// Fetches and reads frames in batches; `body(k, map)` for the k-th of `which` (indices into
// the track).
template <typename Body>
void read_batches(const Source& source, const Track& track, const std::vector<std::size_t>& which,
                  int threads, const Body& body) {
  constexpr std::size_t batch = 64;
  for (std::size_t begin = 0; begin < which.size(); begin += batch) {
    const std::size_t end = std::min(which.size(), begin + batch);
    std::vector<lens::Patch> patches;
    for (std::size_t k = begin; k < end; ++k) {
      patches.push_back(source.patches.at(track.frame[which[k]]));
    }
    for_each_index(end - begin, threads, [&](std::size_t offset) {
      if (patches[offset].empty()) return;
      const std::size_t k = which[begin + offset];
      body(k, contrast_of(source, patches[offset]));
    });
  }
}

lens::MarkStrip end_strip(const Source& source, std::size_t frame, const lens::ContrastMap& map,
                          double meridian_rad, const Eigen::Vector2d& centre,
                          const lens::RadialGrid& grid = radial_grid) {
  return lens::mark_strip(map, mask_of(source.windows, frame), source.patches.geometry(), centre,
                          meridian_rad, grid, strip_geometry);
}

// As many distances of a longer strip as the radial grid has, from `first` on.
lens::MarkStrip part_of(const lens::MarkStrip& strip, int first) {
  const cv::Range rows(first, first + radial_grid.count);
  lens::MarkStrip part;
  for (std::size_t channel = 0; channel < lens::channel_count; ++channel)
    part.value[channel] = strip.value[channel].rowRange(rows);
  part.usable = strip.usable.rowRange(rows);
  return part;
}

}  // namespace

lens::ContrastMap contrast_of(const Source& source, const lens::Patch& patch) {
  auto map = lens::contrast_map(patch, source.patches.geometry(), {});
  if (source.through_rings) lens::flatten_rings(map, source.patches.geometry());
  return source.light ? map.for_light_marks() : map;
}

EndPair measure_at(const Source& source, std::size_t frame, const lens::ContrastMap& map,
                   double axis_rad, const Eigen::Vector2d& centre, const PairTemplate& form) {
  const auto turn = [&](double meridian_rad, const lens::MarkTemplate& mark) {
    return lens::turn_of(end_strip(source, frame, map, meridian_rad, centre), mark, strip_geometry);
  };
  return {turn(axis_rad, form.a), turn(axis_rad + angle::pi, form.b)};
}

std::vector<EndPair> measure_along(const Source& source, std::size_t frame,
                                   const lens::ContrastMap& map, double axis_rad,
                                   const Eigen::Vector2d& centre, const PairTemplate& form,
                                   int steps) {
  lens::RadialGrid longer = radial_grid;
  longer.first -= steps * longer.step;
  longer.count += 2 * steps;
  const lens::MarkStrip a = end_strip(source, frame, map, axis_rad, centre, longer);
  const lens::MarkStrip b = end_strip(source, frame, map, axis_rad + angle::pi, centre, longer);
  std::vector<EndPair> out;
  // A centre that moves towards end A comes nearer to it and goes away from end B.
  for (int step = -steps; step <= steps; ++step) {
    out.push_back({lens::turn_of(part_of(a, steps + step), form.a, strip_geometry),
                   lens::turn_of(part_of(b, steps - step), form.b, strip_geometry)});
  }
  return out;
}

PairTemplate teach(const Source& source, const Track& track, const std::vector<std::size_t>& which,
                   const std::vector<float>& weight, int threads) {
  // Strips are collected in order, so that the sums are the same for any number of threads.
  std::vector<lens::MarkStrip> strips_a(which.size());
  std::vector<lens::MarkStrip> strips_b(which.size());
  std::vector<std::size_t> place(track.frame.size(), 0);
  for (std::size_t k = 0; k < which.size(); ++k) place[which[k]] = k;
  read_batches(source, track, which, threads, [&](std::size_t k, const lens::ContrastMap& map) {
    const auto strip = [&](double meridian_rad) {
      return end_strip(source, track.frame[k], map, meridian_rad, track.centre[k]);
    };
    strips_a[place[k]] = strip(track.axis_rad[k]);
    strips_b[place[k]] = strip(track.axis_rad[k] + angle::pi);
  });
  lens::TemplateBuilder a(radial_grid, strip_geometry);
  lens::TemplateBuilder b(radial_grid, strip_geometry);
  for (std::size_t k = 0; k < which.size(); ++k) {
    if (strips_a[k].usable.empty() || weight[k] <= 0.0F) continue;
    a.add(strips_a[k], weight[k]);
    b.add(strips_b[k], weight[k]);
  }
  PairTemplate form{a.build(source.distances), b.build(source.distances)};
  lens::keep_what_both_show(form.a, form.b, radial_grid);
  return form;
}

std::vector<EndPair> measure(const Source& source, const Track& track, const PairTemplate& form,
                             const std::vector<std::size_t>& which, int threads) {
  std::vector<EndPair> out(track.frame.size());
  read_batches(source, track, which, threads, [&](std::size_t k, const lens::ContrastMap& map) {
    out[k] = measure_at(source, track.frame[k], map, track.axis_rad[k], track.centre[k], form);
  });
  return out;
}

}  // namespace rhumb::analyze
