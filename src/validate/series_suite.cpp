#include "validate/series_suite.h"

#include <fmt/core.h>

#include <atomic>
#include <cmath>
#include <fstream>
#include <mutex>
#include <nlohmann/json.hpp>
#include <thread>

#include "angle/angle.h"
#include "casefile/read.h"
#include "files/partial_file.h"
#include "files/user_error.h"
#include "followup/series.h"
#include "render/produce.h"
#include "validate/score.h"

namespace rhumb::validate {
namespace {

namespace fs = std::filesystem;
using angle::deg_from_rad;
using angle::rad_from_deg;

std::vector<SeriesVisitScore> score_one(const std::string& name,
                                        const followup::SeriesOutcome& outcome,
                                        const nlohmann::json& truth) {
  std::vector<SeriesVisitScore> out;
  const nlohmann::json& first = truth.at(0);
  for (std::size_t v = 1; v < outcome.visits.size(); ++v) {
    const followup::VisitResult& visit = outcome.visits[v];
    const nlohmann::json& is = truth.at(v);
    SeriesVisitScore s;
    s.series = name;
    s.visit = visit.label;
    s.light = is.at("ill");
    s.readable = std::min(is.at("readable").get<double>(), first.at("readable").get<double>());
    s.why_not = visit.why_not.empty() ? outcome.visits[0].why_not : visit.why_not;
    const auto turned = [&](const char* key) {
      return rad_from_deg(is.at(key).get<double>() - first.at(key).get<double>());
    };
    if (visit.drift) {
      const auto& d = *visit.drift;
      const double off = angle::wrap_deviation(d.value_rad - turned("axis"));
      s.drift_error_deg = deg_from_rad(off);
      s.half_width_deg = 0.5 * deg_from_rad(d.high_rad - d.low_rad);
      s.covered = off >= d.value_rad - d.high_rad && off <= d.value_rad - d.low_rad;
      s.why_not.clear();
    }
    if (visit.head_tilt)
      s.tilt_error_deg =
          deg_from_rad(angle::wrap_rotation(visit.head_tilt->value_rad - turned("tilt")));
    out.push_back(std::move(s));
  }
  return out;
}

std::vector<SeriesVisitScore> run_one(const render::Scene& scene, const fs::path& place,
                                      const SeriesRunOptions& options) {
  render::ProduceOptions producing;
  producing.threads = 1;
  producing.cancel = options.cancel;
  render::produce(scene, place, producing);
  followup::SeriesOptions measuring;
  measuring.threads = 1;
  measuring.cancel = options.cancel;
  const auto outcome =
      followup::measure_series(casefile::read_series(place / "series.toml"), measuring);
  std::ifstream in(place / "truth.json");
  const auto scores = score_one(scene.name, outcome, nlohmann::json::parse(in).at("visits"));
  if (!options.keep_pictures) fs::remove_all(place);
  return scores;
}

std::string percent(int of_these, int all) {
  return all > 0 ? fmt::format("{:.1f} % ({} of {})", 100.0 * of_these / all, of_these, all)
                 : std::string("none");
}

}  // namespace

std::vector<SeriesVisitScore> run_series(const std::vector<render::Scene>& scenes,
                                         const fs::path& folder, const SeriesRunOptions& options) {
  std::vector<std::vector<SeriesVisitScore>> scores(scenes.size());
  std::atomic<std::size_t> next{0};
  std::atomic<int> done{0};
  std::exception_ptr failure;
  std::mutex guard;
  const auto work = [&] {
    for (std::size_t i = next++; i < scenes.size(); i = next++) {
      try {
        if (options.cancel.stop_requested()) throw Interrupted();
        scores[i] = run_one(scenes[i], folder / "work" / scenes[i].name, options);
        const std::lock_guard lock(guard);
        if (options.progress) options.progress(++done, static_cast<int>(scenes.size()));
      } catch (...) {
        const std::lock_guard lock(guard);
        if (!failure) failure = std::current_exception();
        next = scenes.size();
      }
    }
  };
  {
    std::vector<std::jthread> pool;
    for (int k = 1; k < options.workers; ++k) pool.emplace_back(work);
    work();
  }
  if (failure) std::rethrow_exception(failure);
  std::vector<SeriesVisitScore> out;
  for (auto& one : scores) out.insert(out.end(), one.begin(), one.end());
  return out;
}

SeriesTally tally_series(const std::vector<SeriesVisitScore>& scores) {
  SeriesTally t;
  std::vector<double> drift, tilt;
  std::string last;
  for (const SeriesVisitScore& s : scores) {
    t.series += s.series != last ? 1 : 0;
    last = s.series;
    ++t.visits;
    const bool usable = s.readable >= ScoreRules{}.readable;
    t.usable += usable ? 1 : 0;
    if (s.tilt_error_deg) tilt.push_back(std::abs(*s.tilt_error_deg));
    if (!s.drift_error_deg) continue;
    ++t.given;
    t.usable_given += usable ? 1 : 0;
    t.covered += s.covered ? 1 : 0;
    drift.push_back(std::abs(*s.drift_error_deg));
  }
  t.drift_median_deg = median(drift);
  t.drift_p95_deg = quantile(drift, 0.95);
  t.drift_max_deg = quantile(drift, 1.0);
  t.tilt_median_deg = median(tilt);
  t.tilt_p95_deg = quantile(tilt, 0.95);
  return t;
}

void write_series_pages(const std::vector<SeriesVisitScore>& scores, const std::string& command,
                        const std::string& seeds, const fs::path& folder) {
  std::string csv =
      "series,visit,light,readable,drift_error_deg,half_width_deg,covered,tilt_error_deg,why_not\n";
  for (const SeriesVisitScore& s : scores)
    csv +=
        fmt::format("{},{},{},{:.3f},{},{},{},{},\"{}\"\n", s.series, s.visit, s.light, s.readable,
                    s.drift_error_deg ? fmt::format("{:.4f}", *s.drift_error_deg) : "",
                    s.drift_error_deg ? fmt::format("{:.4f}", s.half_width_deg) : "",
                    s.drift_error_deg ? (s.covered ? "1" : "0") : "",
                    s.tilt_error_deg ? fmt::format("{:.4f}", *s.tilt_error_deg) : "", s.why_not);
  const SeriesTally t = tally_series(scores);
  const std::string page = fmt::format(
      "# Follow-up series: accuracy on rendered eyes\n\n{} series, {} visits after the first. Made "
      "by "
      "`{}`. {}\n\n"
      "| figure | value | bar |\n|---|---|---|\n"
      "| drift error, median | {:.3f} degrees | 0.25 |\n| drift error, 95th percentile | {:.3f} "
      "degrees "
      "| 0.7 |\n"
      "| drift error, largest | {:.3f} degrees | |\n| head tilt error, median | {:.3f} degrees | "
      "0.15 "
      "|\n"
      "| head tilt error, 95th percentile | {:.3f} degrees | 0.4 |\n| 95 % intervals that hold the "
      "truth | {} | 93 to 97 % |\n"
      "| empty, of those readable by half or more | {} | at most 5 % |\n",
      t.series, t.visits, command, seeds, t.drift_median_deg, t.drift_p95_deg, t.drift_max_deg,
      t.tilt_median_deg, t.tilt_p95_deg, percent(t.covered, t.given),
      percent(t.usable - t.usable_given, t.usable));
  files::write_whole(folder / "followup.csv", csv);
  files::write_whole(folder / "followup.md", page);
}

}  // namespace rhumb::validate
