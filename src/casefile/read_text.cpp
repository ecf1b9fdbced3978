#include <fmt/core.h>

#include <fstream>
#include <system_error>

#include "casefile/checked_table.h"
#include "files/user_error.h"

namespace rhumb::casefile {

std::string read_text(const std::filesystem::path& file, const std::string& what,
                      std::size_t most) {
  std::error_code error;
  const std::filesystem::file_status status = std::filesystem::status(file, error);
  const std::string name = file.string();
  if (!std::filesystem::exists(status))
    throw UserError(name, "", "there is no such file", "give the path of a " + what);
  if (std::filesystem::is_directory(status))
    throw UserError(name, "", "is a folder", "give the path of the " + what + " in it");
  if (!std::filesystem::is_regular_file(status))
    throw UserError(name, "", "is not an ordinary file", "give the path of a " + what);
  const auto size = std::filesystem::file_size(file, error);
  if (!error && size > most)
    throw UserError(name, "",
                    fmt::format("is {} bytes long, above the {} of a {}", size, most, what),
                    "give the " + what + " rather than a recording");
  std::ifstream stream(file, std::ios::binary);
  std::string text(most + 1, '\0');
  stream.read(text.data(), static_cast<std::streamsize>(text.size()));
  if (!stream.is_open() || stream.bad())
    throw UserError(name, "", "cannot be read", "check the rights of the file");
  text.resize(static_cast<std::size_t>(stream.gcount()));
  if (text.size() > most)
    throw UserError(name, "", fmt::format("grew above {} bytes", most), "give a " + what);
  return text;
}

}  // namespace rhumb::casefile
