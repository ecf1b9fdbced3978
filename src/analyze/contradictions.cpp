#include <fmt/core.h>

#include <algorithm>
#include <cmath>

#include "analyze/placed_anchor.h"
#include "angle/angle.h"

namespace rhumb::analyze {
namespace {

using angle::deg_from_rad;
using outcome::TimelineRow;

constexpr double z95 = 1.959963985;
constexpr double clear_half_rad =
    0.044;  // 2.5 degrees: a reading of the program is clear up to this
constexpr double clear_confidence = 0.5;
constexpr double contradicts_by =
    1.5;                         // in 95 % half-widths of the difference: about 3 standard errors
constexpr double about_s = 1.0;  // frames about an anchor that speak for or against it
constexpr double same_stretch_rad =
    0.052;  // 3 degrees: readings of one still stretch, rightly read or not
constexpr double stretch_gap_s = 2.0;

bool clear(const TimelineRow& row) {
  return row.axis && row.axis->high_rad - row.axis->value_rad <= clear_half_rad &&
         row.confidence >= clear_confidence;
}

// How far the clear rows about the anchor lie from it: the median, and what it should lie within.
struct Against {
  int rows = 0;
  double apart_rad = 0.0;
  bool contradicts = false;
};

Against program_against(const PlacedAnchor& placed, const std::vector<TimelineRow>& rows) {
  std::vector<double> apart;
  std::vector<double> limit;
  for (const Carried& one : placed.carried) {
    const TimelineRow& row = rows[one.row];
    if (!clear(row) || row.lens != placed.lens ||
        std::abs(row.time_s - rows[*placed.row].time_s) > about_s)
      continue;
    apart.push_back(angle::wrap_deviation(one.axis_rad - row.axis->value_rad));
    limit.push_back(contradicts_by * std::hypot(row.axis->high_rad - row.axis->value_rad,
                                                z95 * std::sqrt(one.own_var)));
  }
  Against against;
  against.rows = static_cast<int>(apart.size());
  if (apart.size() < 3) return against;
  const auto middle = static_cast<std::ptrdiff_t>(apart.size() / 2);
  std::nth_element(apart.begin(), apart.begin() + middle, apart.end());
  std::nth_element(limit.begin(), limit.begin() + middle, limit.end());
  against.apart_rad = apart[apart.size() / 2];
  against.contradicts = std::abs(against.apart_rad) > limit[limit.size() / 2];
  return against;
}

// The rows about an anchor in which the program reads one and the same axis: half-open.
struct Stretch {
  std::size_t begin = 0;
  std::size_t end = 0;
  bool holds(std::size_t row) const { return row >= begin && row < end; }
};

Stretch program_stretch(const std::vector<TimelineRow>& rows, std::size_t at) {
  std::size_t start = at;
  double nearest_s = about_s;
  for (std::size_t k = 0; k < rows.size(); ++k) {
    const double apart_s = std::abs(rows[k].time_s - rows[at].time_s);
    if (rows[k].axis && apart_s < nearest_s) {
      start = k;
      nearest_s = apart_s;
    }
  }
  if (!rows[start].axis) return {at, at + 1};
  Stretch stretch{std::min(start, at), std::max(start, at) + 1};
  const auto walk = [&](auto step, auto more) {
    double axis = rows[start].axis->value_rad;
    double last_s = rows[start].time_s;
    for (std::size_t k = start; more(k);) {
      k = step(k);
      if (std::abs(rows[k].time_s - last_s) > stretch_gap_s) break;
      if (!rows[k].axis) continue;
      if (std::abs(angle::wrap_deviation(rows[k].axis->value_rad - axis)) >
              0.2 * same_stretch_rad ||
          std::abs(angle::wrap_deviation(rows[k].axis->value_rad - rows[start].axis->value_rad)) >
              same_stretch_rad) {
        break;
      }
      axis = rows[k].axis->value_rad;
      last_s = rows[k].time_s;
      stretch.begin = std::min(stretch.begin, k);
      stretch.end = std::max(stretch.end, k + 1);
    }
  };
  walk([](std::size_t k) { return k - 1; }, [](std::size_t k) { return k > 0; });
  walk([](std::size_t k) { return k + 1; }, [&](std::size_t k) { return k + 1 < rows.size(); });
  return stretch;
}

bool agree(const PlacedAnchor& a, const PlacedAnchor& b) {
  const double apart = angle::wrap_deviation(a.axis_rad - b.axis_rad);
  return std::abs(apart) <=
         contradicts_by * z95 * std::sqrt(a.own_var + b.own_var) + 0.2 * same_stretch_rad;
}

// Withdraws the program's readings of a stretch that two agreeing anchors contradict.
void withdraw(std::vector<TimelineRow>& rows, const Stretch& stretch) {
  for (std::size_t k = stretch.begin; k < stretch.end; ++k) {
    if (!rows[k].axis || rows[k].rests_on_anchor) continue;
    rows[k].axis.reset();
    rows[k].deviation_rad.reset();
    rows[k].confidence = 0.0;
    rows[k].why_not = "marks set by hand contradict what was read";
  }
}

}  // namespace

std::vector<std::string> settle_contradictions(std::vector<PlacedAnchor>& anchors,
                                               std::vector<TimelineRow>& rows,
                                               std::vector<std::string>& warnings) {
  std::vector<std::string> remark(anchors.size());
  std::vector<Against> against(anchors.size());
  std::vector<Stretch> stretch(anchors.size());
  for (std::size_t i = 0; i < anchors.size(); ++i) {
    if (!anchors[i].axis_known) continue;
    against[i] = program_against(anchors[i], rows);
    if (against[i].contradicts) stretch[i] = program_stretch(rows, *anchors[i].row);
  }
  std::vector<bool> upheld(anchors.size(), false);
  for (std::size_t i = 0; i < anchors.size(); ++i) {
    if (!against[i].contradicts) continue;
    const double degrees = std::abs(deg_from_rad(against[i].apart_rad));
    for (std::size_t j = 0; j < anchors.size() && !upheld[i]; ++j) {
      const bool another = j != i && against[j].contradicts && stretch[i].holds(*anchors[j].row) &&
                           (anchors[j].row != anchors[i].row ||
                            anchors[j].anchor->reader != anchors[i].anchor->reader);
      upheld[i] = another && agree(anchors[i], anchors[j]);
    }
    if (upheld[i]) {
      remark[i] = fmt::format(
          "contradicts the frames around it by {:.1f} degrees; another anchor agrees with it, so "
          "the "
          "program's readings there were withdrawn",
          degrees);
      warnings.push_back(anchors[i].name + " " + remark[i] + ".");
    } else {
      anchors[i].axis_known = false;
      anchors[i].fault = fmt::format(
          "it contradicts the clear frames around it by {:.1f} degrees; a second frame marked "
          "there that agrees with it would outweigh them",
          degrees);
    }
  }
  for (std::size_t i = 0; i < anchors.size(); ++i) {
    if (upheld[i]) withdraw(rows, stretch[i]);
  }
  return remark;
}

}  // namespace rhumb::analyze
