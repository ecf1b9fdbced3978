#include "report/review.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <memory>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <set>

#include "files/partial_file.h"
#include "report/overlay.h"
#include "video/colour.h"
#include "video/prefetch.h"
#include "video/reader.h"
#include "video/sample.h"
#include "video/writer.h"

namespace rhumb::report {
namespace {

cv::Size review_size(const video::StreamFacts& facts, int most) {
  const double scale = std::min(1.0, static_cast<double>(most) / std::max(1, facts.width));
  const auto even = [scale](int length) {
    return std::max(16, 2 * static_cast<int>(std::lround(0.5 * scale * length)));
  };
  return {even(facts.width), even(facts.height)};
}

cv::Mat resized(const cv::Mat& plane, const cv::Size& size) {
  if (plane.size() == size) return plane;
  cv::Mat result;
  cv::resize(plane, result, size, 0.0, 0.0, cv::INTER_AREA);
  return result;
}

// Small planes make a small picture, which is much less work than the other way about.
cv::Mat small_picture(video::ColourMaker& colours, const video::Frame& frame,
                      const cv::Size& size) {
  video::Frame small = frame;
  small.luma = resized(frame.luma, size);
  const cv::Size half((size.width + 1) / 2, (size.height + 1) / 2);
  small.cb = resized(frame.cb, half);
  small.cr = resized(frame.cr, half);
  return colours.bgr(small);
}

// Takes the stills of the deciding frames as they come by, so that no picture has to wait in
// memory.
class StillTaker {
 public:
  explicit StillTaker(const outcome::CaseOutcome& outcome)
      : outcome_(outcome), stills_(outcome.evidence.size()) {
    for (std::size_t i = 0; i < outcome.evidence.size(); ++i)
      places_.emplace(outcome.evidence[i].frame, i);
  }
  bool has(const outcome::EvidenceFrame& evidence) const {
    return stills_[places_.find(evidence.frame)->second].has_value();
  }
  void take(const video::Frame& frame, video::ColourMaker& colours) {
    const auto [begin, end] = places_.equal_range(frame.index);
    if (begin == end) return;
    const cv::Mat picture = colours.bgr(frame);
    for (auto place = begin; place != end; ++place)
      stills_[place->second] =
          make_still(picture, outcome_.evidence[place->second], outcome_.atlas_zero_meridian_rad);
  }
  StillSet stills() { return std::move(stills_); }

 private:
  const outcome::CaseOutcome& outcome_;
  StillSet stills_;
  std::multimap<std::int64_t, std::size_t> places_;
};

// The stretch of the timeline, decoded on a thread of its own.
std::unique_ptr<video::Prefetch> open_stretch(const outcome::CaseOutcome& outcome,
                                              const ReportOptions& options) {
  video::ReaderOptions reading;
  reading.cancel = options.cancel;
  if (!outcome.rows.empty() && outcome.rows.front().frame > 0)
    reading.from_s = outcome.rows.front().time_s;
  return std::make_unique<video::Prefetch>(
      video::Reader::open(outcome.stated.video.files, reading));
}

// Reads the stretch of the timeline, takes the stills and hands each of its rows with its picture
// to `use`. `wanted` says which rows are.
template <typename Wanted, typename Use>
StillSet each_row(const outcome::CaseOutcome& outcome, const ReportOptions& options,
                  video::Prefetch& reader, const Wanted& wanted, const Use& use) {
  const video::StreamFacts facts = reader.facts();
  video::ColourMaker colours(facts);
  StillTaker taker(outcome);
  const cv::Size size = review_size(facts, options.review_width_px);
  const double scale = static_cast<double>(size.width) / facts.width;
  std::size_t at = 0;
  while (at < outcome.rows.size()) {
    const std::optional<video::Frame> frame = reader.next();
    if (options.cancel.stop_requested()) throw Interrupted();
    if (!frame) break;
    while (at < outcome.rows.size() && outcome.rows[at].frame < frame->index) ++at;
    if (at == outcome.rows.size() || outcome.rows[at].frame != frame->index) continue;
    taker.take(*frame, colours);
    const outcome::TimelineRow& row = outcome.rows[at++];
    if (wanted(row)) {
      cv::Mat picture = small_picture(colours, *frame, size);
      draw_overlay(picture, outcome, row, scale);
      use(row, picture);
    }
    if (options.progress && at % 16 == 0)
      options.progress(static_cast<double>(at) / static_cast<double>(outcome.rows.size()));
  }
  return taker.stills();
}

// What lies between two deciding frames further apart than this is not decoded for the stills.
// Finding a place means walking through the packets of the whole recording; in one of several
// parts it means decoding it.
double worth_seeking_s(const outcome::CaseOutcome& outcome, const outcome::EvidenceFrame& to) {
  if (outcome.stated.video.files.size() > 1) return std::numeric_limits<double>::infinity();
  return to.is_key ? std::max(0.5, 0.01 * outcome.video.duration_s)
                   : std::max(3.0, 0.02 * outcome.video.duration_s);
}

// Reads from so long before one deciding frame to another.
void take_stretch(const outcome::CaseOutcome& outcome, const outcome::EvidenceFrame& first,
                  const outcome::EvidenceFrame& last, double early_s,
                  const video::PictureStamps& stamps, const ReportOptions& options,
                  StillTaker& taker) {
  video::ReaderOptions reading;
  reading.cancel = options.cancel;
  reading.stamps = stamps;
  reading.from_s = std::max(0.0, first.time_s - early_s);
  video::Reader reader = video::Reader::open(outcome.stated.video.files, reading);
  video::ColourMaker colours(reader.facts());
  while (const std::optional<video::Frame> frame = reader.next()) {
    taker.take(*frame, colours);
    if (frame->index >= last.frame) break;
  }
  if (options.cancel.stop_requested()) throw Interrupted();
}

// Those that stand alone in the stream, each decoded by itself. Their places are known by time, so
// that of a recording whose clock was repaired none is taken; the others are left to be looked for.
void take_keys(const outcome::CaseOutcome& outcome,
               const std::vector<outcome::EvidenceFrame>& evidence, const ReportOptions& options,
               StillTaker& taker) {
  if (!outcome.video.clock_as_recorded || outcome.stated.video.files.size() > 1) return;
  constexpr double same_s = 1e-4;
  video::SampleOptions sampling;
  sampling.cancel = options.cancel;
  for (const outcome::EvidenceFrame& one : evidence)
    if (one.is_key) sampling.keys_s.push_back(one.time_s);
  if (sampling.keys_s.empty()) return;
  video::Sampler sampler(outcome.stated.video.files, sampling);
  video::ColourMaker colours(sampler.facts());
  while (std::optional<video::Frame> frame = sampler.next()) {
    const auto is_it = [&](const auto& one) {
      return one.is_key && std::abs(one.time_s - frame->time_s) < 2.0 * same_s;
    };
    const auto found = std::find_if(evidence.begin(), evidence.end(), is_it);
    if (found == evidence.end()) continue;
    frame->index = found->frame;
    taker.take(*frame, colours);
  }
  if (options.cancel.stop_requested()) throw Interrupted();
}

}  // namespace

StillSet write_review_video(const outcome::CaseOutcome& outcome, const std::filesystem::path& file,
                            const ReportOptions& options) {
  const auto reader = open_stretch(outcome, options);
  const cv::Size size = review_size(reader->facts(), options.review_width_px);
  video::WriterOptions writing;
  writing.width = size.width;
  writing.height = size.height;
  writing.rate_hz = std::clamp(outcome.video.frame_rate, 1.0, 240.0);
  writing.crf = options.review_crf;
  writing.preset = "superfast";
  writing.gop = 12;  // frames are stepped through: short ways to any of them
  video::Writer writer(file, writing);
  const double start_s = outcome.rows.empty() ? 0.0 : outcome.rows.front().time_s;
  StillSet stills = each_row(
      outcome, options, *reader, [](const outcome::TimelineRow&) { return true; },
      [&](const outcome::TimelineRow& row, const cv::Mat& picture) {
        writer.add(picture, std::max(0.0, row.time_s - start_s));
      });
  writer.finish();
  return stills;
}

StillSet write_review_stills(const outcome::CaseOutcome& outcome,
                             const std::filesystem::path& folder, const ReportOptions& options) {
  std::set<std::int64_t> deciding;
  for (const outcome::EvidenceFrame& evidence : outcome.evidence) deciding.insert(evidence.frame);
  double next_s = outcome.rows.empty() ? 0.0 : outcome.rows.front().time_s;
  const auto wanted = [&](const outcome::TimelineRow& row) {
    const bool due = row.time_s >= next_s - 1e-6;
    if (due) next_s += std::max(0.1, options.stills_every_s);
    return due || deciding.contains(row.frame);
  };
  std::filesystem::create_directories(folder);
  const auto reader = open_stretch(outcome, options);
  return each_row(outcome, options, *reader, wanted,
                  [&](const outcome::TimelineRow& row, const cv::Mat& picture) {
                    std::vector<std::uint8_t> bytes;
                    cv::imencode(".png", picture, bytes);
                    files::write_whole(folder / fmt::format("{:010.3f}s.png", row.time_s),
                                       {reinterpret_cast<const char*>(bytes.data()), bytes.size()});
                  });
}

StillSet read_stills(const outcome::CaseOutcome& outcome, const ReportOptions& options) {
  // Stamps of a stretch may differ a little from those of the whole.
  constexpr double early_s = 0.5;
  StillTaker taker(outcome);
  if (outcome.evidence.empty()) return taker.stills();
  std::vector<outcome::EvidenceFrame> evidence = outcome.evidence;
  std::sort(evidence.begin(), evidence.end(),
            [](const auto& a, const auto& b) { return a.frame < b.frame; });
  take_keys(outcome, evidence, options, taker);
  std::erase_if(evidence, [&](const auto& one) { return taker.has(one); });
  if (evidence.empty()) return taker.stills();
  const video::PictureStamps stamps =
      video::picture_stamps(outcome.stated.video.files, options.cancel);
  for (auto first = evidence.begin(); first != evidence.end();) {
    auto last = first;
    while (last + 1 != evidence.end() &&
           (last + 1)->time_s - last->time_s < worth_seeking_s(outcome, *(last + 1)))
      ++last;
    take_stretch(outcome, *first, *last, first->is_key ? 0.0 : early_s, stamps, options, taker);
    if (first->is_key && !taker.has(*first))
      take_stretch(outcome, *first, *last, early_s, stamps, options, taker);
    first = last + 1;
  }
  return taker.stills();
}

}  // namespace rhumb::report
