// Reads a recording, in one or several files, picture after picture in presentation order.
//
// The presentation time stamps of the stream are the only clock. Damaged packets are skipped and
// counted, and reading goes on; a file that stops early is read up to there. Files are opened
// directly: nothing that a file refers to (play lists, other files, addresses) is ever opened.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <stop_token>
#include <vector>

#include "video/error.h"
#include "video/facts.h"
#include "video/frame.h"

namespace rhumb::video {

// The presentation stamps of a recording's pictures, by which a Reader that begins in the middle
// counts those before.
using PictureStamps = std::shared_ptr<const std::vector<double>>;

struct ReaderOptions {
  int decoder_threads =
      0;  // 0: as many as the decoder finds useful here; pictures do not depend on it
  bool keyframes_only = false;  // only pictures that stand alone (cheap look through a recording)
  bool honour_rotation = true;  // turn and mirror as the file's display matrix says
  std::optional<double>
      from_s;            // first picture at or after this time; earlier ones count in Frame::index
  PictureStamps stamps;  // of the same recording; empty: looked for where they are needed
  std::optional<double> to_s;  // last picture at or before this time
  std::stop_token cancel;      // once requested, next() gives nothing any more
};

class Reader {
 public:
  // Opens the parts of one recording, in order. Throws VideoError when one of them is not a
  // readable file, holds no video stream, or when not one picture can be decoded from the first.
  static Reader open(const std::vector<std::filesystem::path>& parts,
                     const ReaderOptions& options = {});

  Reader(Reader&&) noexcept;
  Reader& operator=(Reader&&) noexcept;
  ~Reader();

  // The next picture, or nothing at the end (or when cancelled). Throws VideoError when a later
  // part turns out not to be a video.
  std::optional<Frame> next();

  // Valid until the next call of next().
  const StreamFacts& facts() const;

 private:
  struct Inside;
  explicit Reader(std::unique_ptr<Inside> inside);
  std::unique_ptr<Inside> inside_;
};

// Walks through the packets of a recording without decoding them; empty (not null) where they can't
// be relied on, and for several parts. Throws VideoError when the file can't be opened.
PictureStamps picture_stamps(const std::vector<std::filesystem::path>& parts,
                             const std::stop_token& cancel = {});

// What open() learns about a recording, without reading it through. Throws as Reader::open.
StreamFacts probe(const std::vector<std::filesystem::path>& parts);

}  // namespace rhumb::video
