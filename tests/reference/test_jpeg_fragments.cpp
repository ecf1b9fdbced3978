// Markers in front of a JPEG picture's frame header, by ISO 10918-1 (ITU-T T.81), table B.1 and
// B.1.1: SOI, RST and TEM stand alone, other segments carry their length.
#include <catch2/catch.hpp>
#include <numeric>
#include <opencv2/imgcodecs.hpp>
#include <vector>

#include "reference/jpeg_fragments.h"

using rhumb::reference::stops_at_tem;

namespace {

using Bytes = std::vector<std::uint8_t>;

const Bytes comment_with_tem_inside = {0xFF, 0xFE, 0x00, 0x06, 0xFF, 0x01, 0xFF, 0x01};
const Bytes frame_header = {0xFF, 0xC0, 0x00, 0x0B, 8, 0, 64, 0, 64, 1, 1, 0x11, 0};

Bytes joined(std::initializer_list<Bytes> parts) {
  return std::accumulate(parts.begin(), parts.end(), Bytes{}, [](Bytes sum, const Bytes& part) {
    sum.insert(sum.end(), part.begin(), part.end());
    return sum;
  });
}

}  // namespace

TEST_CASE("a marker TEM before the frame header is seen") {
  const Bytes start = {0xFF, 0xD8}, bare = {0xFF, 0x01};
  REQUIRE(stops_at_tem(joined({start, bare, frame_header})));
  REQUIRE(stops_at_tem(joined({start, comment_with_tem_inside, bare, frame_header})));
}

// ISO 10918-1, B.1.1.2, from memory: any marker may be preceded by fill bytes 0xFF.
TEST_CASE("fill bytes before a marker hide nothing") {
  const Bytes start = {0xFF, 0xD8}, filled = {0xFF, 0xFF, 0xFF, 0x01};
  REQUIRE(stops_at_tem(joined({start, filled, frame_header})));
  REQUIRE_FALSE(stops_at_tem(joined({start, {0xFF, 0xFF}, frame_header, filled, {0, 0, 0}})));
  REQUIRE_FALSE(stops_at_tem(Bytes(64, 0xFF)));
}

TEST_CASE("the bytes of TEM within a segment, or after the frame header, are nothing") {
  const Bytes start = {0xFF, 0xD8}, bare = {0xFF, 0x01};
  REQUIRE_FALSE(stops_at_tem(joined({start, comment_with_tem_inside, frame_header})));
  REQUIRE_FALSE(stops_at_tem(joined({start, frame_header, bare, bare, bare})));
  // What is no marker ends the walk, here and in DCMTK.
  REQUIRE_FALSE(stops_at_tem(joined({start, {0x12}, bare, frame_header})));
}

TEST_CASE("a whole picture, its beginnings and nothing at all pass") {
  Bytes coded;
  cv::imencode(".jpg", cv::Mat3b(64, 64, {10, 120, 200}), coded);
  for (std::size_t count = 0; count <= coded.size(); ++count)
    REQUIRE_FALSE(stops_at_tem({coded.data(), count}));
}

TEST_CASE("a segment that says it reaches beyond the end ends the walk") {
  REQUIRE_FALSE(
      stops_at_tem(joined({{0xFF, 0xD8, 0xFF, 0xE0, 0xFF, 0xFF}, {0xFF, 0x01, 0, 0, 0}})));
}
