// A TOML table whose every value is checked as it is taken out. Serves case files, series files and
// every other TOML file of the program (scenes, rubrics): all complain in the same way.
//
// Every error is a UserError: the file, "line 12, column 5, plan.axis_deg", what is wrong with the
// bound that it breaks, and the mend.
#pragma once

#include <filesystem>
#include <initializer_list>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace rhumb::casefile {

// Inclusive bounds of a number, and the unit for messages ("degrees"; may be empty).
struct Bounds {
  double low = 0.0;
  double high = 0.0;
  const char* unit = "";
};

inline constexpr Bounds axis_bounds_deg{0.0, 180.0, "degrees"};
inline constexpr Bounds meridian_bounds_deg{0.0, 360.0, "degrees"};

// Longest text file that is read, so that a recording given by mistake is refused at once.
inline constexpr std::size_t most_bytes = std::size_t{4} << 20;

// The content of a regular text file of at most `most` bytes. UserError: missing, a folder, a pipe,
// unreadable, too long. `what` names it in messages ("case file").
std::string read_text(const std::filesystem::path& file, const std::string& what,
                      std::size_t most = most_bytes);

class CheckedTable {
 public:
  // The whole text as the top table. `file` stands in messages. UserError where it is not TOML.
  static CheckedTable parse(std::string_view text, const std::filesystem::path& file);

  // Refuses every key that is not among these, with the nearest of them as a suggestion.
  void only(std::initializer_list<const char*> keys) const;

  bool has(const std::string& key) const;
  int line() const;                 // where the table begins, from 1; 0 for the top table
  const std::string& path() const;  // "plan", "anchor[2]"; empty for the top table
  const std::filesystem::path& file() const;

  // Empty where the key is missing. The `need_` ones refuse that; `example` is what to write ("0 to
  // 180").
  std::optional<double> number(const std::string& key, const Bounds& bounds) const;
  double need_number(const std::string& key, const Bounds& bounds) const;
  std::optional<int> whole_number(const std::string& key, int low, int high) const;
  std::optional<bool> boolean(const std::string& key) const;
  // One to `most` characters, no control characters.
  std::optional<std::string> text(const std::string& key, std::size_t most = 200) const;
  std::string need_text(const std::string& key, std::size_t most = 200) const;
  // Index of the word in `words`.
  std::optional<int> word(const std::string& key, std::initializer_list<const char*> words) const;
  int need_word(const std::string& key, std::initializer_list<const char*> words) const;
  std::optional<std::string> date(const std::string& key) const;  // a TOML date, as ISO 8601
  std::vector<double> numbers(const std::string& key, const Bounds& bounds) const;
  std::vector<std::string> texts(const std::string& key) const;  // one text or a list of them
  // [[x, y], ...]: pairs within the bounds.
  std::vector<std::pair<double, double>> pairs(const std::string& key, const Bounds& bounds) const;

  std::optional<CheckedTable> table(const std::string& key) const;
  CheckedTable need_table(const std::string& key) const;
  std::vector<CheckedTable> tables(const std::string& key) const;  // [key] or [[key]]; may be empty

  // Complains about the value of a key, or about the table itself when the key is empty or missing.
  [[noreturn]] void fail(const std::string& key, const std::string& problem,
                         const std::string& mend) const;

 private:
  struct Node;  // keeps toml++ out of this header
  explicit CheckedTable(std::shared_ptr<const Node> node);
  std::shared_ptr<const Node> node_;
};

// The word of `known` nearest to `word` by single edits (insert, drop, change, swap), or empty when
// none is near.
std::string nearest(const std::string& word, const std::vector<std::string>& known);

}  // namespace rhumb::casefile
