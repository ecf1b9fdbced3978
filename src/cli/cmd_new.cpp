// rhumb new: a commented case or series file beside what lies in a folder.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cctype>
#include <filesystem>
#include <memory>

#include "cli/clock.h"
#include "cli/command.h"
#include "cli/starter.h"
#include "files/partial_file.h"
#include "files/user_error.h"
#include "reference/photo_file.h"
#include "video/reader.h"

namespace rhumb::cli {
namespace {

namespace fs = std::filesystem;

struct Options {
  std::string folder;
};

constexpr std::initializer_list<const char*> recording_endings = {".mp4",  ".m4v", ".mov",  ".mts",
                                                                  ".m2ts", ".ts",  ".mkv",  ".webm",
                                                                  ".avi",  ".mpg", ".mpeg", ".wmv"};
constexpr std::initializer_list<const char*> photograph_endings = {".jpg", ".jpeg", ".png",
                                                                   ".tif", ".tiff", ".dcm"};

bool ends_with_one_of(const fs::path& file, std::initializer_list<const char*> endings) {
  std::string ending = file.extension().string();
  for (char& c : ending) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return std::find(endings.begin(), endings.end(), ending) != endings.end();
}

std::vector<std::string> names_in(const fs::path& folder) {
  std::error_code error;
  std::vector<std::string> names;
  for (const fs::directory_entry& entry : fs::directory_iterator(folder, error)) {
    std::error_code ignored;
    const std::string name = entry.path().filename().string();
    if (!entry.is_regular_file(ignored) || name.starts_with('.')) continue;
    if (one_line(name, name.size()) != name)
      fmt::print(stderr, "rhumb: {}: passed over; rename it in plain characters\n", one_line(name));
    else
      names.push_back(name);
  }
  if (error)
    throw UserError(folder.string(), "", "cannot be looked into (" + error.message() + ")",
                    "give the folder that holds the recording or the photographs");
  std::sort(names.begin(), names.end());
  return names;
}

std::string facts_of(const fs::path& file) {
  try {
    const video::StreamFacts facts = video::probe({file});
    std::string text = fmt::format("{} x {}, {}", facts.width, facts.height, facts.codec);
    if (facts.promised_duration_s > 0.0)
      text += ", " + clock_text(facts.promised_duration_s) + " long";
    if (facts.promised_rate_hz > 0.0)
      text += fmt::format(", {:.2f} pictures a second", facts.promised_rate_hz);
    if (facts.rotation_deg != 0)
      text += fmt::format(", turned by {} degrees as the file says", facts.rotation_deg);
    return text + (facts.flipped ? ", mirrored back as the file says" : "");
  } catch (const UserError& error) {
    return "cannot be read: " + error.problem();
  }
}

SeenPhotograph photograph_facts(const fs::path& folder, const std::string& name) {
  SeenPhotograph seen{name, {}, {}, {}};
  try {
    const reference::Photo photo = reference::read_photo(folder / name);
    seen.facts = fmt::format("{}, {} x {}", photo.facts.format, photo.bgr.cols, photo.bgr.rows);
    seen.date = photo.facts.date;
    seen.laterality = photo.facts.laterality;
    if (seen.laterality) seen.facts += *seen.laterality == 'R' ? ", right eye" : ", left eye";
  } catch (const UserError& error) {
    seen.facts = "cannot be read: " + error.problem();
  }
  return seen;
}

SeenFolder look_into(const fs::path& folder) {
  SeenFolder seen;
  for (const std::string& name : names_in(folder)) {
    if (ends_with_one_of(name, recording_endings))
      seen.recordings.push_back({name, facts_of(folder / name)});
    else if (ends_with_one_of(name, photograph_endings))
      seen.photographs.push_back(photograph_facts(folder, name));
  }
  if (seen.recordings.empty() && seen.photographs.empty())
    throw UserError(folder.string(), "", "holds neither a recording nor a photograph",
                    "put the recording into it first");
  return seen;
}

int run(const Options& options) {
  const fs::path folder = options.folder;
  const SeenFolder seen = look_into(folder);
  const bool is_case = !seen.recordings.empty();
  const fs::path file = folder / (is_case ? "case.toml" : "series.toml");
  std::error_code ignored;
  if (fs::exists(fs::symlink_status(file, ignored)))
    throw UserError(file.string(), "", "is there already", "edit it, or move it away first");
  files::write_whole(file, is_case ? starter_case(seen) : starter_series(seen));
  fmt::print("Wrote {}. Fill in the empty texts, then:\n  rhumb {} {} --out OUTPUT_FOLDER\n",
             file.string(), is_case ? "analyze" : "followup", file.string());
  return exit_done;
}

}  // namespace

void add_new(CLI::App& program, Chosen& chosen) {
  auto options = std::make_shared<Options>();
  CLI::App* command = program.add_subcommand(
      "new", "Write a commented case file beside a recording or photographs");
  command
      ->add_option("FOLDER", options->folder, "folder that holds the recording or the photographs")
      ->required();
  command->footer(footer("rhumb new cases/017"));
  command->callback([&chosen, options] {
    chosen.run = [options](const std::stop_token&) { return run(*options); };
  });
}

}  // namespace rhumb::cli
