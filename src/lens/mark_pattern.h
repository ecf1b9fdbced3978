// Marks of a pattern that the case states, at distances from the lens centre that are not known
// yet.
#pragma once

#include <array>
#include <vector>

#include "lens/rays.h"

namespace rhumb::lens {

// What printed marks may look like before anything is known of them: darker, greyer, or lighter and
// greyer than the glow, anywhere in the outer half of the optic.
enum class MarkLook { Dark, Grey, DarkAndGrey, LightAndGrey };
inline constexpr std::array<MarkLook, 4> mark_looks = {
    MarkLook::Dark, MarkLook::Grey, MarkLook::DarkAndGrey, MarkLook::LightAndGrey};

// Marks of a stated pattern whose distances from the lens centre are not known yet; they are the
// same at both ends. Lengths in limbal radii. Of each channel: weights whose squares sum to 1.
std::array<float, channel_count> share_of(MarkLook look);

struct MarkForm {
  int per_end = 1;  // compact marks at each end
  int length = 3;   // of one along the meridian, in steps of the radial grid
  bool alone =
      false;  // has nothing right before and behind it: a dot, not a piece of something longer
};
struct MarkPattern {
  std::array<float, channel_count> share{};  // of each channel's contrast; squares sum to 1
  std::vector<MarkForm> forms;               // any of which explains the marks
  int first = 0;                             // distances (index) between which they lie
  int last = 0;
  int empty_below = 0;    // nearer than this the marked meridian is empty
  float crossing = 4.5F;  // score of an end at which marks and none are as likely
};

struct StatedMarks {
  bool lines = false;  // else dots
  int dots_per_end = 3;
  double optic_radius = 0.59;  // limbal radii, as seen through the cornea
};

MarkPattern pattern_of(MarkLook look, const StatedMarks& stated, const RadialGrid& grid);

// The two ends of every axis, each at the distances that explain both ends best.
struct EndScores {
  float a = 0.0F;
  float b = 0.0F;
  float usable_a = 0.0F;
  float usable_b = 0.0F;
};
std::array<EndScores, axis_count> score_ends(const RayMap& rays, const MarkPattern& pattern,
                                             const MarkForm& form);

// Where along the distance the marks of a learned profile lie, 0..1, an entry a distance of the
// grid: by the profile's size, over the run that holds its strongest distance. Runs are broken
// where next to nothing is for longer than the gap between two dots; what lies beyond (the optic's
// edge, the rhexis) is not the mark. 1 everywhere for a profile without size.
std::vector<float> mark_distances(const MarkProfile& profile, const RadialGrid& grid);

}  // namespace rhumb::lens
