// Fingerprints of input files, so that an outcome says which recording it came from.
#pragma once

#include <filesystem>
#include <stop_token>
#include <string>

namespace rhumb::video {

// SHA-256 (FIPS 180-4, by libavutil) of a file's bytes, as 64 lower-case hexadecimal digits. Reads
// the file once, in blocks. Throws VideoError when it can't be read, Interrupted when cancelled.
std::string sha256_of_file(const std::filesystem::path& file, const std::stop_token& cancel = {});
// The same of bytes in memory.
std::string sha256_of_text(const std::string& bytes);

}  // namespace rhumb::video
