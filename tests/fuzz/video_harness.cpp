// Any bytes as a recording: read to the end, in bounded time, with growing times and whole
// pictures.
#include <cstdint>
#include <cstdlib>
#include <string>

#include "fuzz/memory_file.h"
#include "fuzz/refused.h"
#include "video/reader.h"

namespace {

constexpr int most_frames = 40;

void read_through(const std::string& path, const rhumb::video::ReaderOptions& options) {
  auto reader = rhumb::video::Reader::open({path}, options);
  const auto opened = reader.facts();
  double last_s = -1.0;
  for (int i = 0; i < most_frames; ++i) {
    const auto frame = reader.next();
    if (!frame) {
      break;
    }
    check(frame->time_s > last_s);
    check(frame->luma.cols == opened.width && frame->luma.rows == opened.height);
    check(frame->cb.cols == (opened.width + 1) / 2 && frame->cr.rows == (opened.height + 1) / 2);
    // Touches the far corners: a plane that lies about its size is found here.
    volatile int seen = frame->luma.at<std::uint8_t>(opened.height - 1, opened.width - 1);
    seen = seen + frame->cb.at<std::uint8_t>(frame->cb.rows - 1, frame->cb.cols - 1);
    last_s = frame->time_s;
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t count) {
  const MemoryFile file(bytes, count);
  rhumb::video::ReaderOptions options;
  options.decoder_threads = 1;
  values_or_one_line([&] { read_through(file.path(), options); });
  options.from_s = 6.0;  // the way that goes by packets first
  values_or_one_line([&] { read_through(file.path(), options); });
  return 0;
}
