// Follow-up series drawn by seed, rendered, measured and scored: how far `rhumb followup` can be
// trusted.
#pragma once

#include <filesystem>
#include <functional>
#include <optional>
#include <stop_token>
#include <string>
#include <vector>

#include "render/scene.h"
#include "validate/suite.h"

namespace rhumb::validate {

// Eyes as they come: lids and lashes, pupils smaller than the optic, blur, red and changed vessels,
// haze, another light, head tilt and magnification at each visit. What lies behind each range
// stands in the source.
std::vector<render::Scene> draw_series(int count, Seeds seeds);

// One visit after the first, against its truth; degrees, because these are figures to be read.
struct SeriesVisitScore {
  std::string series, visit, light;
  double readable = 0.0;                  // by the renderer, the worse of this visit and the first
  std::optional<double> drift_error_deg;  // signed
  double half_width_deg = 0.0;
  bool covered = false;
  std::optional<double> tilt_error_deg;
  std::string why_not;
};

struct SeriesRunOptions {
  int workers = 1;  // series at a time; changes the speed only
  bool keep_pictures = false;
  std::stop_token cancel;
  std::function<void(int done, int total)> progress;  // may be called from any thread
};

// In the order of the scenes.
std::vector<SeriesVisitScore> run_series(const std::vector<render::Scene>& scenes,
                                         const std::filesystem::path& folder,
                                         const SeriesRunOptions& options);

// What a suite comes to. Usable: readable by at least half, by the renderer's own measure.
struct SeriesTally {
  int series = 0, visits = 0, usable = 0, usable_given = 0, given = 0, covered = 0;
  double drift_median_deg = 0.0, drift_p95_deg = 0.0, drift_max_deg = 0.0;
  double tilt_median_deg = 0.0, tilt_p95_deg = 0.0;
};
SeriesTally tally_series(const std::vector<SeriesVisitScore>& scores);

// followup.csv (a row a visit) and followup.md (the figures, with the command that makes them).
void write_series_pages(const std::vector<SeriesVisitScore>& scores, const std::string& command,
                        const std::string& seeds, const std::filesystem::path& folder);

}  // namespace rhumb::validate
