#include "video/stamp_list.h"

#include <algorithm>

#include "video/part.h"

namespace rhumb::video {

std::vector<double> stamps_of_pictures(const std::filesystem::path& file,
                                       const std::stop_token& cancel) {
  Part part(file, {1, false, cancel});
  std::vector<double> stamps;
  while (auto packet = part.next_packet()) {
    if (!packet->stamp_s) {
      return {};
    }
    if (packet->is_shown) {
      stamps.push_back(*packet->stamp_s);
    }
  }
  std::sort(stamps.begin(), stamps.end());
  const bool repeats = std::adjacent_find(stamps.begin(), stamps.end()) != stamps.end();
  if (repeats || cancel.stop_requested() || part.damaged_packets() > 0) {
    return {};
  }
  return stamps;
}

}  // namespace rhumb::video
