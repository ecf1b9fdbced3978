// Any bytes as a photograph: either whole planes or one error of one line.
#include <cstdint>

#include "fuzz/memory_file.h"
#include "fuzz/refused.h"
#include "reference/photo_file.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t count) {
  const MemoryFile file(bytes, count);
  values_or_one_line([&] {
    const rhumb::reference::Photo photo = rhumb::reference::read_photo(file.path());
    const cv::Size size = photo.luma.size();
    check(size.width >= 64 && size.height >= 64 && size.width % 2 == 0 && size.height % 2 == 0);
    check(photo.bgr.size() == size && photo.bgr.type() == CV_8UC3 && photo.luma.type() == CV_8UC1);
    check(photo.cb.size() == cv::Size(size.width / 2, size.height / 2));
    check(photo.cr.size() == photo.cb.size());
  });
  return 0;
}
