#include "analyze/end_strips.h"

#include "analyze/frames.h"
#include "analyze/parallel.h"
#include "angle/angle.h"
#include "lens/ring_flatten.h"

namespace rhumb::analyze {
namespace {

// Fetches and reads frames in batches; `body(k, map, mask)` for the k-th of `which` (indices into
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
      auto map = lens::contrast_map(patches[offset], source.patches.geometry(), {});
      if (source.through_rings) lens::flatten_rings(map, source.patches.geometry());
      body(k, source.light ? map.for_light_marks() : map, mask_of(source.windows, track.frame[k]));
    });
  }
}

lens::MarkStrip end_strip(const Source& source, const lens::ContrastMap& map, const cv::Mat1b& mask,
                          const Track& track, std::size_t k, bool end_b) {
  return lens::mark_strip(map, mask, source.patches.geometry(), track.centre[k],
                          track.axis_rad[k] + (end_b ? angle::pi : 0.0), radial_grid,
                          strip_geometry);
}

}  // namespace

PairTemplate teach(const Source& source, const Track& track, const std::vector<std::size_t>& which,
                   const std::vector<float>& weight, int threads) {
  // Strips are collected in order, so that the sums are the same for any number of threads.
  std::vector<lens::MarkStrip> strips_a(which.size());
  std::vector<lens::MarkStrip> strips_b(which.size());
  std::vector<std::size_t> place(track.frame.size(), 0);
  for (std::size_t k = 0; k < which.size(); ++k) place[which[k]] = k;
  read_batches(source, track, which, threads,
               [&](std::size_t k, const lens::ContrastMap& map, const cv::Mat1b& mask) {
                 strips_a[place[k]] = end_strip(source, map, mask, track, k, false);
                 strips_b[place[k]] = end_strip(source, map, mask, track, k, true);
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
  read_batches(source, track, which, threads,
               [&](std::size_t k, const lens::ContrastMap& map, const cv::Mat1b& mask) {
                 out[k].a = lens::turn_of(end_strip(source, map, mask, track, k, false), form.a,
                                          strip_geometry);
                 out[k].b = lens::turn_of(end_strip(source, map, mask, track, k, true), form.b,
                                          strip_geometry);
               });
  return out;
}

}  // namespace rhumb::analyze
