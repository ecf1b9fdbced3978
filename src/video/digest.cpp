#include "video/digest.h"

#include <fmt/format.h>

extern "C" {
#include <libavutil/mem.h>
#include <libavutil/sha.h>
}

#include <array>
#include <cstdint>
#include <fstream>
#include <memory>
#include <new>
#include <vector>

#include "video/error.h"

namespace rhumb::video {
namespace {

struct Sha256 {
  Sha256() : state(av_sha_alloc(), &av_free) {
    if (state == nullptr) {
      throw std::bad_alloc();
    }
    av_sha_init(state.get(), 256);
  }
  void add(const char* bytes, std::size_t count) {
    av_sha_update(state.get(), reinterpret_cast<const std::uint8_t*>(bytes), count);
  }
  std::string text() {
    std::array<std::uint8_t, 32> digest{};
    av_sha_final(state.get(), digest.data());
    std::string hex;
    for (const std::uint8_t byte : digest) {
      hex += fmt::format("{:02x}", byte);
    }
    return hex;
  }
  std::unique_ptr<AVSHA, void (*)(void*)> state;
};

}  // namespace

std::string sha256_of_file(const std::filesystem::path& file, const std::stop_token& cancel) {
  std::error_code ignored;
  std::ifstream in;
  if (std::filesystem::is_regular_file(file, ignored)) {
    in.open(file, std::ios::binary);
  }
  if (!in.is_open()) {
    throw VideoError(file, "", "can't be read", "check its path and permissions");
  }
  Sha256 sha;
  std::vector<char> block(std::size_t{1} << 20);
  while (in) {
    if (cancel.stop_requested()) {
      throw Interrupted();
    }
    in.read(block.data(), static_cast<std::streamsize>(block.size()));
    sha.add(block.data(), static_cast<std::size_t>(in.gcount()));
  }
  if (in.bad()) {
    throw VideoError(file, "", "can't be read to its end", "copy it to another disk");
  }
  return sha.text();
}

std::string sha256_of_text(const std::string& bytes) {
  Sha256 sha;
  sha.add(bytes.data(), bytes.size());
  return sha.text();
}

}  // namespace rhumb::video
