#include "video/reader.h"

#include <fmt/format.h>

extern "C" {
#include <libavutil/log.h>
#include <libavutil/pixdesc.h>
}

#include <algorithm>
#include <deque>
#include <utility>

#include "video/deinterlace.h"
#include "video/part.h"
#include "video/planes.h"
#include "video/stamps.h"
#include "video/upright.h"

namespace rhumb::video {
namespace {

// A decoded picture with its place in time, on its way to becoming a Frame.
struct Timed {
  av::FramePtr picture;
  double time_s = 0.0;
  bool damaged = false;
};

Matrix matrix_of(const AVFrame& picture) {
  switch (picture.colorspace) {
    case AVCOL_SPC_BT709:
      return Matrix::Bt709;
    case AVCOL_SPC_BT470BG:
    case AVCOL_SPC_SMPTE170M:
    case AVCOL_SPC_FCC:
      return Matrix::Bt601;
    case AVCOL_SPC_BT2020_NCL:
    case AVCOL_SPC_BT2020_CL:
      return Matrix::Bt2020;
    default:  // unstated: standard definition has BT.601, high definition BT.709 (common practice,
              // no source)
      return picture.height < 720 ? Matrix::Bt601 : Matrix::Bt709;
  }
}

bool is_full_range(const AVFrame& picture) {
  switch (picture.format) {
    case AV_PIX_FMT_YUVJ420P:
    case AV_PIX_FMT_YUVJ422P:
    case AV_PIX_FMT_YUVJ444P:
    case AV_PIX_FMT_YUVJ440P:
    case AV_PIX_FMT_YUVJ411P:
      return true;
    default:
      return picture.color_range == AVCOL_RANGE_JPEG;
  }
}

}  // namespace

struct Reader::Inside {
  Inside(const std::vector<std::filesystem::path>& files, const ReaderOptions& options_in);

  std::optional<Frame> next();

  void open_part(std::size_t index);
  void learn_from_first(const AVFrame& first);
  void note_formats(const AVFrame& first);
  std::optional<Timed> next_timed();
  bool mark_interlaced(AVFrame& picture);
  std::optional<Timed> next_progressive();
  std::optional<Timed> take_deinterlaced();
  Frame finish_frame(Timed timed);
  void note(const std::string& text);
  void note_end();
  void collect_counts();
  bool is_cancelled() const { return options.cancel.stop_requested(); }

  std::vector<std::filesystem::path> paths;
  ReaderOptions options;
  StreamFacts facts;
  std::unique_ptr<Part> part;
  std::size_t part_index = 0;
  std::optional<Decoded> ahead;  // decoded already, so that a stamp can be judged by its successor
  StampClock clock{0.0};
  std::int64_t damaged_packets_before = 0;  // of the parts that are done
  Deinterlacer fields;
  bool fields_in_use = false;
  bool ended = false;
  std::deque<std::pair<double, bool>> in_fields;  // time and damage of the pictures inside
  PlaneMaker planes;
  cv::Size size;
  Lay lay;
  std::int64_t index = 0;
};

Reader::Inside::Inside(const std::vector<std::filesystem::path>& files,
                       const ReaderOptions& options_in)
    : paths(files), options(options_in) {
  av_log_set_level(AV_LOG_QUIET);
  if (paths.empty()) {
    throw VideoError("video", "", "no file is named", "name the recording's file");
  }
  facts.parts = static_cast<int>(paths.size());
  open_part(0);
  clock = StampClock(part->promised_rate_hz());
  ahead = part->next();
  if (!ahead) {
    if (is_cancelled()) {
      throw Interrupted();
    }
    throw VideoError(paths[0], fmt::format("video stream {}", part->stream().index),
                     "not one picture can be decoded",
                     "check that it plays, or copy it again from the recorder");
  }
  learn_from_first(*ahead->picture);
}

void Reader::Inside::open_part(std::size_t index_in) {
  if (part != nullptr) {
    damaged_packets_before += part->damaged_packets();
    for (const std::string& text : part->notes()) {
      note(text);
    }
  }
  part_index = index_in;
  part = std::make_unique<Part>(
      paths[index_in],
      PartOptions{options.decoder_threads, options.keyframes_only, options.cancel});
  clock.start_part();
}

void Reader::Inside::learn_from_first(const AVFrame& first) {
  size = square_size(first, part->stream());
  if (size.width != first.width) {
    note(fmt::format("pixels are not square: {} x {} was resampled to {} x {}", first.width,
                     first.height, size.width, size.height));
  }
  if (options.honour_rotation) {
    lay = lay_of(part->stream(), first);
  }
  if (!lay.is_exact) {
    note("the display rotation is no quarter turn and was rounded to one");
  }
  const bool on_side = lay.quarter_turns % 2 != 0;
  facts.width = on_side ? size.height : size.width;
  facts.height = on_side ? size.width : size.height;
  facts.rotation_deg = 90 * lay.quarter_turns;
  facts.flipped = lay.flipped;
  facts.container = part->container();
  facts.codec = part->codec();
  facts.promised_duration_s = part->promised_duration_s();
  facts.promised_rate_hz = part->promised_rate_hz();
  note_formats(first);
}

void Reader::Inside::note_formats(const AVFrame& first) {
  const auto format = static_cast<AVPixelFormat>(first.format);
  const AVPixFmtDescriptor* about = av_pix_fmt_desc_get(format);
  facts.pixel_format = about != nullptr ? about->name : "unknown";
  facts.bit_depth = about != nullptr ? about->comp[0].depth : 8;
  const bool converts = PlaneMaker::converts_colour(first.format);
  facts.full_range = !converts && is_full_range(first);
  facts.matrix = converts ? Matrix::Bt709 : matrix_of(first);
  if (converts) {
    note(fmt::format("{} pictures were converted to BT.709 luma and colour differences",
                     facts.pixel_format));
  }
  if (facts.bit_depth > 8) {
    note(fmt::format("{} bit samples were rounded to 8 bit", facts.bit_depth));
  }
  if (first.color_trc == AVCOL_TRC_SMPTE2084 || first.color_trc == AVCOL_TRC_ARIB_STD_B67) {
    note("the recording has a high dynamic range transfer curve; it was read as it is");
  }
}

void Reader::Inside::note(const std::string& text) {
  if (std::find(facts.notes.begin(), facts.notes.end(), text) == facts.notes.end()) {
    facts.notes.push_back(text);
  }
}

// The next decoded picture over all parts, with its time.
std::optional<Timed> Reader::Inside::next_timed() {
  while (!ahead && part_index + 1 < paths.size() && !is_cancelled()) {
    open_part(part_index + 1);
    ahead = part->next();
    if (!ahead) {
      note(
          fmt::format("{}: not one picture can be decoded", paths[part_index].filename().string()));
    }
  }
  if (!ahead || is_cancelled()) {
    return std::nullopt;
  }
  Decoded now = std::move(*ahead);
  ahead = part->next();
  const bool starts_part = facts.part_starts_s.size() <= part_index;
  const double time_s = clock.place(now.stamp_s, ahead ? ahead->stamp_s : std::nullopt);
  while (starts_part && facts.part_starts_s.size() <= part_index) {
    facts.part_starts_s.push_back(time_s);
  }
  return Timed{std::move(now.picture), time_s, now.damaged};
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
  picture.top_field_first = part->stream().codecpar->field_order == AV_FIELD_BB ? 0 : 1;
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

Frame Reader::Inside::finish_frame(Timed timed) {
  const cv::Size square = square_size(*timed.picture, part->stream());
  if (square != size) {
    note(
        "the picture size changes within the recording; all pictures were brought to the first "
        "size");
  }
  Planes made = planes.make(std::move(timed.picture));
  make_upright(made, size, lay);
  Frame frame;
  frame.index = index;
  frame.time_s = timed.time_s;
  frame.damaged = timed.damaged;
  frame.luma = std::move(made.luma);
  frame.cb = std::move(made.cb);
  frame.cr = std::move(made.cr);
  frame.owner = std::move(made.owner);
  return frame;
}

void Reader::Inside::collect_counts() {
  facts.damaged_packets = damaged_packets_before + part->damaged_packets();
  facts.missing_stamps = clock.missing();
  facts.repaired_stamps = clock.repaired();
  if (facts.gaps.size() != clock.gaps().size()) {
    facts.gaps = clock.gaps();
  }
}

void Reader::Inside::note_end() {
  for (const std::string& text : part->notes()) {
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
    if (options.from_s && timed->time_s < *options.from_s) {
      ++index;
      continue;
    }
    ++facts.frames;
    facts.concealed_frames += timed->damaged ? 1 : 0;
    Frame frame = finish_frame(std::move(*timed));
    ++index;
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

StreamFacts probe(const std::vector<std::filesystem::path>& parts) {
  ReaderOptions options;
  options.decoder_threads = 1;
  return Reader::open(parts, options).facts();
}

}  // namespace rhumb::video
