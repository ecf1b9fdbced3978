// The presentation stamps of a file's pictures, read without decoding. Inside this room only.
#pragma once

#include <filesystem>
#include <stop_token>
#include <vector>

namespace rhumb::video {

// In growing order, in the stream's own seconds; empty when they can't be relied on as one stamp a
// picture (missing or repeated ones, or a picture's two fields in packets of their own).
std::vector<double> stamps_of_pictures(const std::filesystem::path& file,
                                       const std::stop_token& cancel);

}  // namespace rhumb::video
