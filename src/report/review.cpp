#include "report/review.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <set>

#include "files/partial_file.h"
#include "report/overlay.h"
#include "video/colour.h"
#include "video/reader.h"
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

// Reads the stretch of the timeline and hands each of its rows with its picture to `use`. `wanted`
// says which rows are.
template <typename Wanted, typename Use>
void each_row(const outcome::CaseOutcome& outcome, const ReportOptions& options,
              video::Reader& reader, const Wanted& wanted, const Use& use) {
  video::ColourMaker colours(reader.facts());
  const cv::Size size = review_size(reader.facts(), options.review_width_px);
  const double scale = static_cast<double>(size.width) / reader.facts().width;
  std::size_t at = 0;
  while (at < outcome.rows.size()) {
    const std::optional<video::Frame> frame = reader.next();
    if (options.cancel.stop_requested()) throw Interrupted();
    if (!frame) break;
    while (at < outcome.rows.size() && outcome.rows[at].frame < frame->index) ++at;
    if (at == outcome.rows.size() || outcome.rows[at].frame != frame->index) continue;
    const outcome::TimelineRow& row = outcome.rows[at++];
    if (wanted(row)) {
      cv::Mat picture = small_picture(colours, *frame, size);
      draw_overlay(picture, outcome, row, scale);
      use(row, picture);
    }
    if (options.progress && at % 16 == 0)
      options.progress(static_cast<double>(at) / static_cast<double>(outcome.rows.size()));
  }
}

video::Reader open_stretch(const outcome::CaseOutcome& outcome, const ReportOptions& options) {
  video::ReaderOptions reading;
  reading.cancel = options.cancel;
  if (!outcome.rows.empty() && outcome.rows.front().frame > 0)
    reading.from_s = outcome.rows.front().time_s;
  return video::Reader::open(outcome.stated.video.files, reading);
}

}  // namespace

void write_review_video(const outcome::CaseOutcome& outcome, const std::filesystem::path& file,
                        const ReportOptions& options) {
  video::Reader reader = open_stretch(outcome, options);
  const cv::Size size = review_size(reader.facts(), options.review_width_px);
  video::WriterOptions writing;
  writing.width = size.width;
  writing.height = size.height;
  writing.rate_hz = std::clamp(outcome.video.frame_rate, 1.0, 240.0);
  writing.crf = options.review_crf;
  writing.preset = "superfast";
  writing.gop = 12;  // frames are stepped through: short ways to any of them
  video::Writer writer(file, writing);
  const double start_s = outcome.rows.empty() ? 0.0 : outcome.rows.front().time_s;
  each_row(
      outcome, options, reader, [](const outcome::TimelineRow&) { return true; },
      [&](const outcome::TimelineRow& row, const cv::Mat& picture) {
        writer.add(picture, std::max(0.0, row.time_s - start_s));
      });
  writer.finish();
}

void write_review_stills(const outcome::CaseOutcome& outcome, const std::filesystem::path& folder,
                         const ReportOptions& options) {
  std::set<std::int64_t> deciding;
  for (const outcome::EvidenceFrame& evidence : outcome.evidence) deciding.insert(evidence.frame);
  double next_s = outcome.rows.empty() ? 0.0 : outcome.rows.front().time_s;
  const auto wanted = [&](const outcome::TimelineRow& row) {
    const bool due = row.time_s >= next_s - 1e-6;
    if (due) next_s += std::max(0.1, options.stills_every_s);
    return due || deciding.contains(row.frame);
  };
  std::filesystem::create_directories(folder);
  video::Reader reader = open_stretch(outcome, options);
  each_row(outcome, options, reader, wanted,
           [&](const outcome::TimelineRow& row, const cv::Mat& picture) {
             std::vector<std::uint8_t> bytes;
             cv::imencode(".png", picture, bytes);
             files::write_whole(folder / fmt::format("{:010.3f}s.png", row.time_s),
                                {reinterpret_cast<const char*>(bytes.data()), bytes.size()});
           });
}

}  // namespace rhumb::report
