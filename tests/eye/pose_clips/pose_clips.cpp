// Scores poses on recordings with truth: prints a line a recording. Not part of the test run:
// recordings with truth are not part of the project. pose_clips FOLDER...; a folder without a video
// or truth is skipped.
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <map>
#include <sstream>
#include <vector>

#include "casefile/read.h"
#include "eye/atlas.h"
#include "eye/tracker.h"
#include "reference/ink.h"
#include "video/reader.h"

using namespace rhumb;

namespace {

constexpr double deg = 180.0 / M_PI;
constexpr int most_samples = 60;

using Table = std::map<std::string, std::vector<double>>;

Table read_truth(const std::filesystem::path& file) {
  std::ifstream in(file);
  std::string line;
  std::getline(in, line);
  std::vector<std::string> names;
  std::stringstream head(line);
  for (std::string cell; std::getline(head, cell, ',');) names.push_back(cell);
  Table table;
  while (std::getline(in, line)) {
    std::stringstream row(line);
    for (const std::string& name : names) {
      std::string cell;
      std::getline(row, cell, ',');
      char* end = nullptr;
      const double value = std::strtod(cell.c_str(), &end);
      table[name].push_back(end == cell.c_str() ? std::nan("") : value);
    }
  }
  return table;
}

double quantile(std::vector<double> values, double p) {
  if (values.empty()) return std::nan("");
  std::sort(values.begin(), values.end());
  const double at = p * static_cast<double>(values.size() - 1);
  const auto i = static_cast<std::size_t>(at);
  const double part = at - static_cast<double>(i);
  return i + 1 < values.size() ? values[i] * (1.0 - part) + values[i + 1] * part : values[i];
}

std::vector<video::Frame> spread_samples(const casefile::Case& stated, std::size_t frames) {
  std::vector<video::Frame> samples;
  auto reader = video::Reader::open(stated.video.files);
  const double step = std::max(1.0, static_cast<double>(frames) / most_samples);
  while (auto frame = reader.next()) {
    if (static_cast<double>(frame->index) >=
        (static_cast<double>(samples.size()) + 0.5) * step - 0.5) {
      samples.push_back(std::move(*frame));
    }
  }
  return samples;
}

void score(const std::filesystem::path& folder) {
  const casefile::Case stated = casefile::read_case(folder / "case.toml");
  Table truth = read_truth(folder / "truth.csv");
  const std::size_t frames = truth["frame"].size();
  const auto samples = spread_samples(stated, frames);
  eye::AtlasReport report;
  const auto atlas =
      eye::build_atlas(samples, stated.video.superior, stated.video.mirrored, {}, report);
  if (!atlas) {
    fmt::print("{:<16} no atlas: {}\n", folder.filename().string(), report.why_not);
    return;
  }
  eye::EyeTracker tracker(*atlas);
  std::vector<double> turn, se, centre, radius;
  double seconds = 0.0;
  auto reader = video::Reader::open(stated.video.files);
  while (auto frame = reader.next()) {
    const auto start = std::chrono::steady_clock::now();
    const eye::EyePose pose = tracker.track(*frame);
    seconds += std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    const auto i = static_cast<std::size_t>(frame->index);
    if (!pose.found || i >= frames) continue;
    turn.push_back(std::remainder(pose.rotation_rad * deg - truth["eye_rotation_deg"][i], 360.0));
    se.push_back(pose.rotation_se_rad * deg);
    const eye::LimbusEllipse limbus = eye::limbus_in_picture(*atlas, pose);
    const double r = truth["limbus_radius_px"][i];
    centre.push_back(100.0 / r *
                     std::hypot(limbus.centre_px.x() - truth["limbus_x_px"][i],
                                limbus.centre_px.y() - truth["limbus_y_px"][i]));
    radius.push_back(100.0 * std::abs(limbus.mean_radius_px() / r - 1.0));
  }
  const double constant = quantile(turn, 0.5);
  std::vector<double> error, standard;
  for (std::size_t k = 0; k < turn.size(); ++k) {
    error.push_back(std::abs(turn[k] - constant));
    standard.push_back(error.back() / se[k]);
  }
  fmt::print(
      "{:<16} found {:5.1f} %  rotation {:.4f} median {:.4f} P95 {:.3f} max deg  error/se {:.2f} "
      "median {:.2f} P95  limbus centre {:.2f} P95 {:.2f} %  radius {:.2f} P95 {:.2f} %  {:.1f} "
      "ms\n",
      folder.filename().string(),
      100.0 * static_cast<double>(turn.size()) / static_cast<double>(frames), quantile(error, 0.5),
      quantile(error, 0.95), quantile(error, 1.0), quantile(standard, 0.5),
      quantile(standard, 0.95), quantile(centre, 0.5), quantile(centre, 0.95),
      quantile(radius, 0.5), quantile(radius, 0.95),
      1000.0 * seconds / static_cast<double>(std::max<std::size_t>(1, frames)));
  for (const casefile::Reference& reference : stated.references) {
    if (reference.kind != casefile::ReferenceKind::Ink) continue;
    const auto ink = reference::find_ink(*atlas, reference.meridians_rad);
    fmt::print("{:<16} ink {} error {:.3f} deg, standard error {:.3f}\n", "",
               ink.found ? "found" : "not found",
               std::remainder(ink.zero_rad * deg - constant, 360.0), ink.se_rad * deg);
  }
}

}  // namespace

int main(int count, char** arguments) {
  for (int i = 1; i < count; ++i) {
    const std::filesystem::path folder = arguments[i];
    if (!std::filesystem::exists(folder / "case.toml") ||
        !std::filesystem::exists(folder / "truth.csv"))
      continue;
    try {
      score(folder);
    } catch (const std::exception& error) {
      fmt::print("{}: {}\n", folder.string(), error.what());
    }
    std::fflush(stdout);
  }
  return 0;
}
