#include "video/sample.h"

#include <algorithm>
#include <utility>

#include "video/frame_maker.h"
#include "video/part.h"
#include "video/reader.h"

namespace rhumb::video {
namespace {

// Fewer different key frames than this share of what was wanted say too little about a recording.
constexpr double least_share = 0.25;
constexpr double same_s = 1e-4;  // times that are the same but for how they were written
constexpr int most_factor =
    2;  // when a file promises too short a duration, so many times `count` may come

struct PlannedKey {
  std::size_t part = 0;
  double stamp_s = 0.0;
  double time_s = 0.0;
};

}  // namespace

struct Sampler::Inside {
  Inside(const std::vector<std::filesystem::path>& files, const SampleOptions& options_in);

  // Opens the parts for their key frames; false where they can't be told apart by their stamps.
  bool open_parts();
  void add_key(double time_s, double from_s, double to_s);
  void plan_keys();
  void plan_stated_keys();
  std::optional<Frame> next_key();
  std::optional<Frame> next_read();

  std::vector<std::filesystem::path> paths;
  SampleOptions options;
  StreamFacts facts;
  std::vector<std::unique_ptr<Part>> parts;  // while key frames are sought
  std::vector<double> starts_s;              // of the parts
  std::vector<double> firsts_s;              // stamps of their first pictures
  std::vector<PlannedKey> keys;
  std::size_t next_planned = 0;
  std::optional<FrameMaker> maker;
  std::optional<Reader> reader;  // while the recording is read through
  double step_s = 0.0;
  double due_s = 0.0;
  std::int64_t given = 0;
};

Sampler::Inside::Inside(const std::vector<std::filesystem::path>& files,
                        const SampleOptions& options_in)
    : paths(files), options(options_in) {
  options.count = std::max(options.count, 1);
  // Opening says what kind of recording it is and throws where it is none.
  ReaderOptions first_look;
  first_look.decoder_threads = 1;
  first_look.cancel = options.cancel;
  facts = Reader::open(paths, first_look).facts();
  if (!options.keys_s.empty()) {
    plan_stated_keys();
    return;
  }
  plan_keys();
  if (keys.empty()) {
    parts.clear();
    ReaderOptions through;
    through.from_s = options.from_s;
    through.to_s = options.to_s;
    through.cancel = options.cancel;
    reader.emplace(Reader::open(paths, through));
    const double from_s = options.from_s.value_or(0.0);
    const double to_s =
        std::min(options.to_s.value_or(facts.promised_duration_s), facts.promised_duration_s);
    step_s = std::max(to_s - from_s, 0.0) / options.count;
  }
}

bool Sampler::Inside::open_parts() {
  double start_s = 0.0;
  for (const auto& path : paths) {
    parts.push_back(std::make_unique<Part>(path, PartOptions{1, true, options.cancel}));
    Part& part = *parts.back();
    const auto first = part.next();
    if (!first || !first->stamp_s || part.promised_duration_s() <= 0.0) {
      return false;
    }
    if (!maker) {
      maker.emplace(part, *first->picture, true, facts);
    }
    starts_s.push_back(start_s);
    firsts_s.push_back(*first->stamp_s);
    start_s += part.promised_duration_s();
  }
  facts.promised_duration_s = start_s;
  return true;
}

// Plans the key frame at or before a time, if it lies in the stretch and after those planned.
void Sampler::Inside::add_key(double time_s, double from_s, double to_s) {
  const std::size_t p = static_cast<std::size_t>(
      std::upper_bound(starts_s.begin(), starts_s.end(), time_s) - starts_s.begin() - 1);
  const auto key_s = parts[p]->key_stamp(firsts_s[p] + time_s - starts_s[p]);
  if (!key_s) {
    return;
  }
  const PlannedKey key{p, *key_s, starts_s[p] + *key_s - firsts_s[p]};
  const bool is_new = keys.empty() || key.time_s > keys.back().time_s;
  if (is_new && key.time_s >= from_s && key.time_s <= to_s) {
    keys.push_back(key);
  }
}

void Sampler::Inside::plan_stated_keys() {
  if (!open_parts()) {
    return;
  }
  for (const double time_s : options.keys_s) {
    if (!options.cancel.stop_requested()) {
      add_key(time_s + same_s, time_s - same_s, time_s + same_s);
    }
  }
}

// Finds the key frames nearest the wanted times; leaves `keys` empty when the recording is better
// read through.
void Sampler::Inside::plan_keys() {
  if (!open_parts()) {
    return;
  }
  const double from_s = options.from_s.value_or(0.0);
  const double to_s =
      std::min(options.to_s.value_or(facts.promised_duration_s), facts.promised_duration_s);
  if (to_s - from_s <= options.short_s) {
    return;
  }
  for (int i = 0; i < options.count && !options.cancel.stop_requested(); ++i) {
    add_key(from_s + (to_s - from_s) * (i + 0.5) / options.count, from_s, to_s);
  }
  if (static_cast<double>(keys.size()) < least_share * options.count) {
    keys.clear();
  }
}

std::optional<Frame> Sampler::Inside::next_key() {
  while (next_planned < keys.size() && !options.cancel.stop_requested()) {
    const PlannedKey key = keys[next_planned++];
    Part& part = *parts[key.part];
    std::optional<Decoded> decoded = part.key_picture(key.stamp_s);
    if (!decoded) {
      continue;
    }
    Frame frame = maker->make_alone(part, std::move(decoded->picture), facts);
    frame.damaged = decoded->damaged;
    frame.time_s = key.time_s;
    frame.index = given++;
    return frame;
  }
  return std::nullopt;
}

std::optional<Frame> Sampler::Inside::next_read() {
  while (given < std::int64_t{most_factor} * options.count) {
    std::optional<Frame> frame = reader->next();
    if (!frame) {
      return std::nullopt;
    }
    if (given == 0) {
      due_s = frame->time_s;
    }
    if (frame->time_s >= due_s) {
      due_s = std::max(due_s + step_s, frame->time_s);
      frame->index = given++;
      return frame;
    }
  }
  return std::nullopt;
}

Sampler::Sampler(const std::vector<std::filesystem::path>& parts, const SampleOptions& options)
    : inside_(std::make_unique<Inside>(parts, options)) {}
Sampler::~Sampler() = default;

std::optional<Frame> Sampler::next() {
  return inside_->reader ? inside_->next_read() : inside_->next_key();
}

const StreamFacts& Sampler::facts() const {
  return inside_->reader ? inside_->reader->facts() : inside_->facts;
}

std::vector<std::optional<Frame>> read_at(const std::vector<std::filesystem::path>& parts,
                                          const std::vector<double>& times_s,
                                          const std::stop_token& cancel) {
  std::vector<std::size_t> order(times_s.size());
  for (std::size_t i = 0; i < order.size(); ++i) {
    order[i] = i;
  }
  std::sort(order.begin(), order.end(),
            [&](std::size_t a, std::size_t b) { return times_s[a] < times_s[b]; });
  std::vector<std::optional<Frame>> found(times_s.size());
  if (order.empty()) {
    return found;
  }
  constexpr double early_s = 1e-4;  // a time written with four decimals still finds its own picture
  ReaderOptions options;
  options.from_s = std::max(times_s[order.front()] - 2.0, 0.0);
  options.to_s = times_s[order.back()] + early_s;
  options.cancel = cancel;
  Reader reader = Reader::open(parts, options);
  std::optional<Frame> now = reader.next();
  std::size_t done = 0;
  while (now && done < order.size()) {
    std::optional<Frame> after = reader.next();
    while (done < order.size() && (!after || times_s[order[done]] < after->time_s - early_s)) {
      if (times_s[order[done]] >= now->time_s - early_s) {
        found[order[done]] = now;
      }
      ++done;
    }
    now = std::move(after);
  }
  return found;
}

}  // namespace rhumb::video
