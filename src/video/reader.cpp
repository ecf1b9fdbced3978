#include "video/reader.h"

#include <fmt/format.h>

#include <algorithm>
#include <deque>
#include <utility>

#include "video/deinterlace.h"
#include "video/frame_maker.h"
#include "video/stamp_list.h"
#include "video/stamps.h"
#include "video/steady_part.h"

namespace rhumb::video {
namespace {

// A stretch that starts earlier is reached soonest by decoding everything before it.
constexpr double worth_skipping_s = 5.0;

// A decoded picture with its place in time, on its way to becoming a Frame.
struct Timed {
  av::FramePtr picture;
  double time_s = 0.0;
  bool damaged = false;
  bool is_key = false;
};

// Times that are the same but for rounding.
constexpr double same_s = 1e-7;

}  // namespace

struct Reader::Inside {
  Inside(const std::vector<std::filesystem::path>& files, const ReaderOptions& options_in);

  std::optional<Frame> next();

  void open_part(std::size_t index);
  void skip_to_stretch();
  bool land_before(double stamp_s);
  std::optional<Timed> next_timed();
  bool mark_interlaced(AVFrame& picture);
  std::optional<Timed> next_progressive();
  std::optional<Timed> take_deinterlaced();
  void note(const std::string& text) { add_note(facts, text); }
  void note_end();
  void collect_counts();
  const Part& part() const { return steady->part(); }
  bool is_cancelled() const { return options.cancel.stop_requested(); }

  std::vector<std::filesystem::path> paths;
  ReaderOptions options;
  StreamFacts facts;
  std::unique_ptr<SteadyPart> steady;
  std::size_t part_index = 0;
  std::optional<Decoded> ahead;  // decoded already, so that a stamp can be judged by its successor
  StampClock clock{0.0};
  std::int64_t damaged_packets_before = 0;  // of the parts that are done
  Deinterlacer fields;
  bool fields_in_use = false;
  bool ended = false;
  std::deque<std::pair<double, bool>> in_fields;  // time and damage of the pictures inside
  std::optional<FrameMaker> maker;
  std::int64_t index = 0;
};

Reader::Inside::Inside(const std::vector<std::filesystem::path>& files,
                       const ReaderOptions& options_in)
    : paths(files), options(options_in) {
  av::listen_quietly();
  if (paths.empty()) {
    throw VideoError("video", "", "no file is named", "name the recording's file");
  }
  facts.parts = static_cast<int>(paths.size());
  open_part(0);
  clock = StampClock(part().promised_rate_hz());
  ahead = steady->next();
  if (!ahead) {
    if (is_cancelled()) {
      throw Interrupted();
    }
    throw VideoError(paths[0], fmt::format("video stream {}", part().stream().index),
                     "not one picture can be decoded",
                     "check that it plays, or copy it again from the recorder");
  }
  maker.emplace(part(), *ahead->picture, options.honour_rotation, facts);
  facts.promised_duration_s = part().promised_duration_s();
  facts.promised_rate_hz = part().promised_rate_hz();
  if (options.from_s && *options.from_s > worth_skipping_s && paths.size() == 1 &&
      !options.keyframes_only) {
    skip_to_stretch();
  }
}

void Reader::Inside::open_part(std::size_t index_in) {
  if (steady != nullptr) {
    damaged_packets_before += part().damaged_packets();
    for (const std::string& text : part().notes()) {
      note(text);
    }
  }
  part_index = index_in;
  steady = std::make_unique<SteadyPart>(
      paths[index_in],
      PartOptions{options.decoder_threads, options.keyframes_only, options.cancel});
  clock.start_part();
}

// Goes near the stretch that is wanted, when the pictures before it can be counted without decoding
// them.
void Reader::Inside::skip_to_stretch() {
  if (!ahead->stamp_s) {
    return;
  }
  const double first_s = *ahead->stamp_s;
  const PictureStamps list =
      options.stamps != nullptr ? options.stamps : picture_stamps(paths, options.cancel);
  const std::vector<double>& stamps = *list;
  const auto place_of = [&](double stamp_s) {
    return std::lower_bound(stamps.begin(), stamps.end(), stamp_s - 1e-7) - stamps.begin();
  };
  if (stamps.empty() || place_of(first_s) != 0 || stamps.front() > first_s + 1e-7 ||
      !land_before(first_s + *options.from_s)) {
    open_part(0);  // begin again: what was decoded while trying is of no use
    ahead = steady->next();
    return;
  }
  clock.place(first_s, std::nullopt);
  clock.skip_to(*ahead->stamp_s - first_s);
  facts.part_starts_s = {0.0};
  index = place_of(*ahead->stamp_s);
}

// Decodes the first picture after a jump; true when it lies before the wanted stamp.
bool Reader::Inside::land_before(double stamp_s) {
  for (const double margin_s : {0.0, 3.0, 15.0}) {
    if (!steady->seek(stamp_s - margin_s)) {
      return false;
    }
    ahead = steady->next();
    if (ahead && ahead->stamp_s && *ahead->stamp_s <= stamp_s + same_s) {
      return true;
    }
  }
  return false;
}

// The next decoded picture over all parts, with its time.
std::optional<Timed> Reader::Inside::next_timed() {
  while (!ahead && part_index + 1 < paths.size() && !is_cancelled()) {
    open_part(part_index + 1);
    ahead = steady->next();
    if (!ahead) {
      note(
          fmt::format("{}: not one picture can be decoded", paths[part_index].filename().string()));
    }
  }
  if (!ahead || is_cancelled()) {
    return std::nullopt;
  }
  Decoded now = std::move(*ahead);
  ahead = steady->next();
  const bool starts_part = facts.part_starts_s.size() <= part_index;
  const double time_s = clock.place(now.stamp_s, ahead ? ahead->stamp_s : std::nullopt);
  while (starts_part && facts.part_starts_s.size() <= part_index) {
    facts.part_starts_s.push_back(time_s);
  }
  const bool is_key = now.picture->key_frame != 0;
  return Timed{std::move(now.picture), time_s, now.damaged, is_key};
}

// True when the picture holds two fields, by its own flag or by its look; the flag is then set.
bool Reader::Inside::mark_interlaced(AVFrame& picture) {
  if (picture.interlaced_frame != 0) {
    return true;
  }
  if (options.keyframes_only || combing(picture) < combing_limit) {
    return false;
  }
  if (av_frame_make_writable(&picture) < 0) {
    return false;
  }
  picture.interlaced_frame = 1;
  picture.top_field_first =
      av::number_of(part().stream().codecpar->field_order) == AV_FIELD_BB ? 0 : 1;
  note("interlaced pictures that are not flagged as such were found and de-interlaced");
  return true;
}

std::optional<Timed> Reader::Inside::take_deinterlaced() {
  std::optional<av::FramePtr> picture = fields.pop();
  if (!picture || in_fields.empty()) {
    return std::nullopt;
  }
  const auto [time_s, damaged] = in_fields.front();
  in_fields.pop_front();
  return Timed{std::move(*picture), time_s, damaged};
}

std::optional<Timed> Reader::Inside::next_progressive() {
  while (true) {
    if (auto ready = take_deinterlaced()) {
      return ready;
    }
    if (ended) {
      return std::nullopt;
    }
    std::optional<Timed> timed = next_timed();
    if (!timed) {
      ended = true;
      fields.finish();
      continue;
    }
    if (mark_interlaced(*timed->picture)) {
      ++facts.interlaced_frames;
      fields_in_use = true;
    }
    if (!fields_in_use) {
      return timed;
    }
    in_fields.emplace_back(timed->time_s, timed->damaged);
    fields.push(std::move(timed->picture));
  }
}

void Reader::Inside::collect_counts() {
  facts.damaged_packets = damaged_packets_before + part().damaged_packets();
  facts.missing_stamps = clock.missing();
  facts.repaired_stamps = clock.repaired();
  facts.clock_restarts = clock.restarts();
  if (facts.gaps.size() != clock.gaps().size()) {
    facts.gaps = clock.gaps();
  }
}

void Reader::Inside::note_end() {
  for (const std::string& text : part().notes()) {
    note(text);
  }
  if (facts.interlaced_frames > 0) {
    note(fmt::format(
        "{} of {} pictures were interlaced: each gives one row, at its first field's time",
        facts.interlaced_frames, index));
  }
  if (clock.restarts() > 0) {
    note(fmt::format("the clock of the recording starts anew {} times; its stretches were joined",
                     clock.restarts()));
  }
}

std::optional<Frame> Reader::Inside::next() {
  while (true) {
    std::optional<Timed> timed = next_progressive();
    collect_counts();
    if (!timed || is_cancelled()) {
      note_end();
      return std::nullopt;
    }
    if (options.to_s && timed->time_s > *options.to_s) {
      ended = true;
      return std::nullopt;
    }
    facts.duration_s = timed->time_s + clock.usual_interval_s();
    if (options.from_s && timed->time_s < *options.from_s - same_s) {
      ++index;
      continue;
    }
    ++facts.frames;
    facts.concealed_frames += timed->damaged ? 1 : 0;
    Frame frame = maker->make(part(), std::move(timed->picture), facts);
    frame.index = index++;
    frame.time_s = timed->time_s;
    frame.damaged = timed->damaged;
    frame.is_key = timed->is_key;
    return frame;
  }
}

Reader::Reader(std::unique_ptr<Inside> inside) : inside_(std::move(inside)) {}
Reader::Reader(Reader&&) noexcept = default;
Reader& Reader::operator=(Reader&&) noexcept = default;
Reader::~Reader() = default;

Reader Reader::open(const std::vector<std::filesystem::path>& parts, const ReaderOptions& options) {
  return Reader(std::make_unique<Inside>(parts, options));
}

std::optional<Frame> Reader::next() { return inside_->next(); }
const StreamFacts& Reader::facts() const { return inside_->facts; }

PictureStamps picture_stamps(const std::vector<std::filesystem::path>& parts,
                             const std::stop_token& cancel) {
  return std::make_shared<const std::vector<double>>(
      parts.size() == 1 ? stamps_of_pictures(parts[0], cancel) : std::vector<double>{});
}

StreamFacts probe(const std::vector<std::filesystem::path>& parts) {
  ReaderOptions options;
  options.decoder_threads = 1;
  return Reader::open(parts, options).facts();
}

}  // namespace rhumb::video
