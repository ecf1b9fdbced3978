#include "casefile/checked_table.h"

#include <fmt/core.h>
#include <toml++/toml.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "files/user_error.h"

namespace rhumb::casefile {

struct CheckedTable::Node {
  std::shared_ptr<const toml::table> root;  // owns everything
  const toml::table* table = nullptr;
  std::string path;
  std::filesystem::path file;

  const toml::node* find(const std::string& key) const { return table->get(key); }
};

namespace {

std::string kind_text(const toml::node& node) {
  switch (node.type()) {
    case toml::node_type::table:
      return "a table";
    case toml::node_type::array:
      return "a list";
    case toml::node_type::string:
      return "a text";
    case toml::node_type::integer:
    case toml::node_type::floating_point:
      return "a number";
    case toml::node_type::boolean:
      return "true or false";
    case toml::node_type::none:
      return "nothing";
    default:
      return "a date or time";
  }
}

std::string place_text(const toml::source_region& where, const std::string& path) {
  if (where.begin.line == 0) return path;
  const std::string place = fmt::format("line {}, column {}", where.begin.line, where.begin.column);
  return path.empty() ? place : place + ", " + path;
}

std::string joined(const std::vector<std::string>& words) {
  std::string text;
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (i > 0) text += i + 1 == words.size() ? " or " : ", ";
    text += words[i];
  }
  return text;
}

std::string range_text(const Bounds& bounds) {
  const std::string unit = *bounds.unit == '\0' ? "" : std::string(" ") + bounds.unit;
  return fmt::format("{:g} to {:g}{}", bounds.low, bounds.high, unit);
}

// A checked number of a list or a key; `key` names it in messages.
double bounded(const CheckedTable& table, const std::string& key, const toml::node& node,
               const Bounds& bounds) {
  const std::string mend = "write a number from " + range_text(bounds);
  const std::optional<double> value = node.value<double>();
  if (!node.is_number() || !value) table.fail(key, "is " + kind_text(node), mend);
  if (!std::isfinite(*value)) table.fail(key, "is not a finite number", mend);
  if (*value < bounds.low)
    table.fail(key, fmt::format("{:g} is below {:g}", *value, bounds.low), mend);
  if (*value > bounds.high)
    table.fail(key, fmt::format("{:g} is above {:g}", *value, bounds.high), mend);
  return *value;
}

const toml::array& need_list(const CheckedTable& table, const std::string& key,
                             const toml::node& node, const std::string& example) {
  const toml::array* list = node.as_array();
  if (list == nullptr) table.fail(key, "is " + kind_text(node), "write a list, as in " + example);
  return *list;
}

}  // namespace

CheckedTable::CheckedTable(std::shared_ptr<const Node> node) : node_(std::move(node)) {}

CheckedTable CheckedTable::parse(std::string_view text, const std::filesystem::path& file) {
  auto node = std::make_shared<Node>();
  node->file = file;
  try {
    node->root = std::make_shared<const toml::table>(toml::parse(text));
  } catch (const toml::parse_error& error) {
    throw UserError(file.string(), place_text(error.source(), ""),
                    "is not TOML (" + std::string(error.description()) + ")",
                    "mend this line; texts stand in \"quotes\", lists in [brackets]");
  }
  node->table = node->root.get();
  return CheckedTable(std::move(node));
}

void CheckedTable::fail(const std::string& key, const std::string& problem,
                        const std::string& mend) const {
  const toml::node* value = key.empty() ? nullptr : node_->find(key);
  std::string path = node_->path;
  if (!key.empty()) path += (path.empty() ? "" : ".") + key;
  const toml::source_region& where = value == nullptr ? node_->table->source() : value->source();
  // The top table begins nowhere in particular: its place would mislead.
  const bool placeless = value == nullptr && node_->path.empty();
  throw UserError(node_->file.string(), placeless ? path : place_text(where, path), problem, mend);
}

void CheckedTable::only(std::initializer_list<const char*> keys) const {
  const std::vector<std::string> known(keys.begin(), keys.end());
  for (const auto& [key, value] : *node_->table) {
    const std::string name(key.str());
    if (std::find(known.begin(), known.end(), name) != known.end()) continue;
    const std::string meant = nearest(name, known);
    const std::string path = node_->path.empty() ? name : node_->path + "." + name;
    throw UserError(
        node_->file.string(), place_text(key.source(), path), "is an unknown key",
        meant.empty() ? "remove it; known here: " + joined(known) : "did you mean " + meant + "?");
  }
}

bool CheckedTable::has(const std::string& key) const { return node_->find(key) != nullptr; }
int CheckedTable::line() const { return static_cast<int>(node_->table->source().begin.line); }
const std::string& CheckedTable::path() const { return node_->path; }
const std::filesystem::path& CheckedTable::file() const { return node_->file; }

std::optional<double> CheckedTable::number(const std::string& key, const Bounds& bounds) const {
  const toml::node* value = node_->find(key);
  if (value == nullptr) return std::nullopt;
  return bounded(*this, key, *value, bounds);
}

double CheckedTable::need_number(const std::string& key, const Bounds& bounds) const {
  const std::optional<double> value = number(key, bounds);
  if (!value)
    fail(key, "is missing", fmt::format("add {} = a number from {}", key, range_text(bounds)));
  return *value;
}

std::optional<int> CheckedTable::whole_number(const std::string& key, int low, int high) const {
  const toml::node* value = node_->find(key);
  if (value == nullptr) return std::nullopt;
  const double found =
      bounded(*this, key, *value, {static_cast<double>(low), static_cast<double>(high)});
  if (found != std::floor(found))
    fail(key, fmt::format("{:g} is not a whole number", found),
         fmt::format("write a whole number from {} to {}", low, high));
  return static_cast<int>(found);
}

std::optional<bool> CheckedTable::boolean(const std::string& key) const {
  const toml::node* value = node_->find(key);
  if (value == nullptr) return std::nullopt;
  if (!value->is_boolean())
    fail(key, "is " + kind_text(*value), "write true or false, without quotes");
  return value->value<bool>();
}

std::optional<std::string> CheckedTable::text(const std::string& key, std::size_t most) const {
  const toml::node* value = node_->find(key);
  if (value == nullptr) return std::nullopt;
  if (!value->is_string()) fail(key, "is " + kind_text(*value), "write a text in \"quotes\"");
  std::string found = value->value<std::string>().value_or("");
  if (found.empty()) fail(key, "is empty", "write something between the quotes, or remove the key");
  if (found.size() > most)
    fail(key, fmt::format("is {} bytes long, above {}", found.size(), most), "write less");
  for (const char character : found)
    if (static_cast<unsigned char>(character) < 0x20 || character == 0x7F)
      fail(key, "holds a control character", "write it in plain characters on one line");
  return found;
}

std::string CheckedTable::need_text(const std::string& key, std::size_t most) const {
  std::optional<std::string> found = text(key, most);
  if (!found) fail(key, "is missing", fmt::format("add {} = \"...\"", key));
  return *std::move(found);
}

std::optional<int> CheckedTable::word(const std::string& key,
                                      std::initializer_list<const char*> words) const {
  const std::vector<std::string> known(words.begin(), words.end());
  const toml::node* value = node_->find(key);
  if (value != nullptr && value->value<std::string_view>() == "")
    fail(key, "is still empty", "write " + joined(known));
  const std::optional<std::string> found = text(key);
  if (!found) return std::nullopt;
  for (std::size_t i = 0; i < known.size(); ++i)
    if (known[i] == *found) return static_cast<int>(i);
  fail(key, "\"" + one_line(*found, 40) + "\" is not known here", "write " + joined(known));
}

int CheckedTable::need_word(const std::string& key,
                            std::initializer_list<const char*> words) const {
  const std::optional<int> found = word(key, words);
  if (!found)
    fail(key, "is missing", fmt::format("add {} = {}", key, joined({words.begin(), words.end()})));
  return *found;
}

std::optional<std::string> CheckedTable::date(const std::string& key) const {
  const toml::node* value = node_->find(key);
  if (value == nullptr) return std::nullopt;
  if (!value->is_date())
    fail(key, "is " + kind_text(*value), "write year-month-day without quotes, as in 2026-05-14");
  const toml::date date = value->value<toml::date>().value_or(toml::date{});
  return fmt::format("{:04}-{:02}-{:02}", date.year, date.month, date.day);
}

std::vector<double> CheckedTable::numbers(const std::string& key, const Bounds& bounds) const {
  const toml::node* value = node_->find(key);
  if (value == nullptr) return {};
  std::vector<double> found;
  for (const toml::node& item : need_list(*this, key, *value, "[0.0, 180.0]"))
    found.push_back(bounded(*this, key, item, bounds));
  return found;
}

std::vector<std::string> CheckedTable::texts(const std::string& key) const {
  const toml::node* value = node_->find(key);
  if (value == nullptr) return {};
  if (value->is_string()) return {need_text(key, 1000)};
  std::vector<std::string> found;
  for (const toml::node& item : need_list(*this, key, *value, "[\"a.mp4\", \"b.mp4\"]")) {
    found.push_back(item.value<std::string>().value_or(""));
    if (!item.is_string() || found.back().empty())
      fail(key, "holds something that is not a text", "write a list of texts in \"quotes\"");
    if (found.back().find('\0') != std::string::npos || found.back().size() > 1000)
      fail(key, "holds a text that is no name", "write a list of texts in \"quotes\"");
  }
  if (found.empty()) fail(key, "is an empty list", "name at least one");
  return found;
}

std::vector<std::pair<double, double>> CheckedTable::pairs(const std::string& key,
                                                           const Bounds& bounds) const {
  const toml::node* value = node_->find(key);
  if (value == nullptr) return {};
  constexpr const char* example = "[[812.0, 310.5], [1044.2, 655.0]]";
  std::vector<std::pair<double, double>> found;
  for (const toml::node& item : need_list(*this, key, *value, example)) {
    const toml::array& pair = need_list(*this, key, item, example);
    if (pair.size() != 2)
      fail(key, fmt::format("holds a point of {} numbers", pair.size()),
           std::string("write points as x, y, as in ") + example);
    found.emplace_back(bounded(*this, key, pair[0], bounds), bounded(*this, key, pair[1], bounds));
  }
  return found;
}

std::optional<CheckedTable> CheckedTable::table(const std::string& key) const {
  const toml::node* value = node_->find(key);
  if (value == nullptr) return std::nullopt;
  if (!value->is_table())
    fail(key, "is " + kind_text(*value) + ", not a table", "write it once, as [" + key + "]");
  auto node = std::make_shared<Node>(*node_);
  node->table = value->as_table();
  node->path = node_->path.empty() ? key : node_->path + "." + key;
  return CheckedTable(std::move(node));
}

CheckedTable CheckedTable::need_table(const std::string& key) const {
  std::optional<CheckedTable> found = table(key);
  if (!found) fail("", "the table [" + key + "] is missing", "add [" + key + "]");
  return *std::move(found);
}

std::vector<CheckedTable> CheckedTable::tables(const std::string& key) const {
  const toml::node* value = node_->find(key);
  if (value == nullptr) return {};
  if (value->is_table()) return {need_table(key)};
  std::vector<CheckedTable> found;
  for (const toml::node& item : need_list(*this, key, *value, "[[" + key + "]]")) {
    if (!item.is_table())
      fail(key, "holds " + kind_text(item) + " where a table belongs", "write [[" + key + "]]");
    auto node = std::make_shared<Node>(*node_);
    node->table = item.as_table();
    node->path = fmt::format("{}{}[{}]", node_->path.empty() ? "" : node_->path + ".", key,
                             found.size() + 1);
    found.push_back(CheckedTable(std::move(node)));
  }
  return found;
}

}  // namespace rhumb::casefile
