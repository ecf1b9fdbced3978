#include <algorithm>
#include <cmath>

#include "analyze/rows.h"
#include "angle/angle.h"

namespace rhumb::analyze {
namespace {

using outcome::Interval;
using outcome::LensState;
using outcome::TimelineRow;

constexpr double still_speed_rad_s = 0.02;  // 1.1 degrees a second
constexpr double least_still_s = 0.4;
constexpr double same_axis_rad = 0.052;  // 3 degrees, beyond what readings at rest wander

// Unwrapped slope of the axis about a row, over a quarter of a second either side.
bool still_at(const std::vector<TimelineRow>& rows, std::size_t k) {
  std::size_t from = k;
  std::size_t to = k;
  const auto usable = [&](std::size_t j) { return rows[j].axis && rows[j].lens == rows[k].lens; };
  while (from > 0 && usable(from - 1) && rows[k].time_s - rows[from - 1].time_s <= 0.25) --from;
  while (to + 1 < rows.size() && usable(to + 1) && rows[to + 1].time_s - rows[k].time_s <= 0.25)
    ++to;
  if (to == from) return true;
  const double turn = angle::wrap_deviation(rows[to].axis->value_rad - rows[from].axis->value_rad);
  const double uncertainty = rows[to].axis->high_rad - rows[to].axis->value_rad;
  const double apart = rows[to].time_s - rows[from].time_s;
  return std::abs(turn) <= still_speed_rad_s * apart + std::min(0.25 * uncertainty, 0.004);
}

outcome::StillStretch stretch_of(const std::vector<TimelineRow>& rows, std::size_t from,
                                 std::size_t to, int unread) {
  outcome::StillStretch stretch;
  stretch.start_s = rows[from].time_s;
  stretch.end_s = rows[to].time_s;
  // The smoothed axis over the stretch's last second, weighted by its precision: the lens may
  // creep.
  const double reference = rows[to].axis->value_rad;
  double sum = 0.0;
  double weights = 0.0;
  double half = 1e9;
  for (std::size_t k = from; k <= to; ++k) {
    if (!rows[k].axis || rows[k].time_s < rows[to].time_s - 1.0) continue;
    const double width = rows[k].axis->high_rad - rows[k].axis->value_rad;
    const double weight = 1.0 / (width * width);
    sum += weight * angle::wrap_deviation(rows[k].axis->value_rad - reference);
    weights += weight;
    half = std::min(half, width);
    stretch.rests_on_anchor = stretch.rests_on_anchor || rows[k].rests_on_anchor;
  }
  const double value = angle::wrap_axis(reference + sum / weights);
  stretch.axis = {value, value - half, value + half};
  const auto frames = static_cast<double>(to - from + 1);
  stretch.share_read = (frames - unread) / frames;
  return stretch;
}

std::vector<outcome::StillStretch> still_stretches(const std::vector<TimelineRow>& rows,
                                                   std::size_t begin, std::size_t end) {
  std::vector<outcome::StillStretch> out;
  std::size_t k = begin;
  while (k < end) {
    if (!rows[k].axis || !still_at(rows, k)) {
      ++k;
      continue;
    }
    const std::size_t from = k;
    std::size_t to = k;
    int unread = 0;
    int gap = 0;
    for (std::size_t j = k + 1; j < end; ++j) {
      if (!rows[j].axis) {
        if (rows[j].time_s - rows[to].time_s > 2.0) break;
        ++gap;
        continue;
      }
      if (!still_at(rows, j)) break;
      if (std::abs(angle::wrap_deviation(rows[j].axis->value_rad - rows[to].axis->value_rad)) >
          0.012)
        break;
      unread += gap;
      gap = 0;
      to = j;
    }
    if (rows[to].time_s - rows[from].time_s >= least_still_s) {
      out.push_back(stretch_of(rows, from, to, unread));
    }
    k = to + 1;
  }
  return out;
}

// Whether the lens is read elsewhere from some time after the stretch on: it was turned since, and
// where it ended is not known.
bool turned_since(const std::vector<TimelineRow>& rows, const outcome::StillStretch& stretch) {
  bool away = false;
  double away_from_s = 0.0;
  double away_until_s = 0.0;
  for (const TimelineRow& row : rows) {
    if (row.time_s <= stretch.end_s || !row.axis || row.lens != LensState::New) continue;
    const double turn = angle::wrap_deviation(row.axis->value_rad - stretch.axis.value_rad);
    if (std::abs(turn) <= same_axis_rad + row.axis->high_rad - row.axis->value_rad) {
      away = false;
      continue;
    }
    if (!away) away_from_s = row.time_s;
    away = true;
    away_until_s = row.time_s;
  }
  return away && away_until_s - away_from_s >= least_still_s;
}

}  // namespace

std::vector<outcome::Episode> make_episodes(const std::vector<TimelineRow>& rows) {
  std::vector<outcome::Episode> episodes;
  std::size_t k = 0;
  while (k < rows.size()) {
    const LensState lens = rows[k].lens;
    std::size_t end = k;
    while (end < rows.size() && rows[end].lens == lens) ++end;
    if (lens == LensState::Previous || lens == LensState::New) {
      outcome::Episode episode;
      episode.lens = lens;
      episode.start_s = rows[k].time_s;
      episode.end_s = rows[end - 1].time_s;
      episode.still = still_stretches(rows, k, end);
      episodes.push_back(std::move(episode));
    }
    k = end;
  }
  return episodes;
}

bool may_be_seen_again(const std::vector<outcome::Episode>& episodes) {
  const outcome::StillStretch* before = nullptr;
  for (const outcome::Episode& episode : episodes) {
    if (episode.still.empty()) continue;
    if (episode.lens == LensState::Previous) before = &episode.still.back();
    if (episode.lens != LensState::New || before == nullptr) continue;
    const double turn =
        angle::wrap_deviation(episode.still.front().axis.value_rad - before->axis.value_rad);
    return std::abs(turn) < same_axis_rad;
  }
  return false;
}

std::optional<outcome::FinalAxis> make_final(const std::vector<TimelineRow>& rows,
                                             const std::vector<outcome::Episode>& episodes,
                                             std::optional<double> planned_axis_rad) {
  const outcome::Episode* last = nullptr;
  for (const outcome::Episode& episode : episodes) {
    if (!episode.still.empty() && (last == nullptr || episode.lens == LensState::New))
      last = &episode;
  }
  if (last == nullptr || last->lens != LensState::New) return std::nullopt;
  const outcome::StillStretch& stretch = last->still.back();
  if (turned_since(rows, stretch)) return std::nullopt;
  outcome::FinalAxis final;
  final.axis = stretch.axis;
  final.start_s = stretch.start_s;
  final.end_s = stretch.end_s;
  final.rests_on_anchor = stretch.rests_on_anchor;
  if (planned_axis_rad) {
    const double deviation = angle::wrap_deviation(final.axis.value_rad - *planned_axis_rad);
    const double half = final.axis.high_rad - final.axis.value_rad;
    final.deviation = Interval{deviation, deviation - half, deviation + half};
  }
  for (const TimelineRow& row : rows) {
    if (row.axis && row.time_s >= final.end_s - 1.0 && row.time_s <= final.end_s) {
      final.confidence = std::max(final.confidence, row.confidence);
    }
  }
  return final;
}

}  // namespace rhumb::analyze
