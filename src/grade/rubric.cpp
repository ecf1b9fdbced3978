#include "grade/rubric.h"

#include <fmt/format.h>
#include <toml++/toml.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <initializer_list>
#include <sstream>

#include "files/user_error.h"
#include "grade/embedded.h"

namespace rhumb::grade {
namespace {

class Section {
 public:
  Section(const toml::table& table, std::string name, const std::string& file)
      : table_(table), name_(std::move(name)), file_(file) {}

  [[noreturn]] void fail(const toml::node* node, std::string_view key, std::string problem,
                         std::string mend) const {
    const auto line =
        (node != nullptr ? *node : static_cast<const toml::node&>(table_)).source().begin.line;
    throw UserError(file_, fmt::format("line {}, {}.{}", line, name_, key), std::move(problem),
                    std::move(mend));
  }

  void only(std::initializer_list<std::string_view> known) const {
    for (const auto& [key, node] : table_) {
      if (std::find(known.begin(), known.end(), key.str()) == known.end()) {
        fail(&node, key.str(), "this key is not known", "check its spelling or drop it");
      }
    }
  }

  double number(std::string_view key, double otherwise, double least, double most) const {
    const toml::node* node = table_.get(key);
    if (node == nullptr) return otherwise;
    const auto value = node->is_boolean() ? std::nullopt : node->value<double>();
    if (!value || !std::isfinite(*value) || *value < least || *value > most) {
      fail(node, key, "this is no number in its range",
           fmt::format("write one from {} to {}", least, most));
    }
    return *value;
  }

  int whole(std::string_view key, int otherwise, int least, int most) const {
    const double value = number(key, otherwise, least, most);
    if (value != std::floor(value)) {
      fail(table_.get(key), key, "this is no whole number",
           fmt::format("write one from {}", least));
    }
    return static_cast<int>(value);
  }

  std::string text(std::string_view key, std::string otherwise) const {
    const toml::node* node = table_.get(key);
    if (node == nullptr) return otherwise;
    if (!node->is_string()) fail(node, key, "this is no text", "put it in double quotes");
    return *node->value<std::string>();
  }

  std::vector<std::string> texts(std::string_view key) const {
    std::vector<std::string> list;
    const toml::node* node = table_.get(key);
    if (node == nullptr) return list;
    const toml::array* array = node->as_array();
    if (array == nullptr) fail(node, key, "this is no list", "write it as [\"a\", \"b\"]");
    for (const toml::node& entry : *array) {
      if (!entry.is_string()) fail(&entry, key, "an entry is no text", "put it in double quotes");
      list.push_back(*entry.value<std::string>());
    }
    return list;
  }

  const toml::node* find(std::string_view key) const { return table_.get(key); }

 private:
  const toml::table& table_;
  std::string name_;
  const std::string& file_;
};

constexpr double most_deg = 90.0;  // two axes differ by no more

void check_order(const Section& section, const Rubric& rubric, bool is_last) {
  const Level& level = rubric.levels.back();
  if (level.name.empty()) section.fail(nullptr, "name", "the level has no name", "add one");
  if (!is_last && !level.at_most_deg) {
    section.fail(nullptr, "at_most_deg", "only the last level has no bound", "add at_most_deg");
  }
  if (is_last && level.at_most_deg) {
    section.fail(section.find("at_most_deg"), "at_most_deg", "the last level takes what is left",
                 "drop the bound, or add a level below it");
  }
  const std::size_t n = rubric.levels.size();
  if (n > 1 && level.at_most_deg && *level.at_most_deg <= *rubric.levels[n - 2].at_most_deg) {
    section.fail(section.find("at_most_deg"), "at_most_deg", "levels do not run from best to worst",
                 "write them with growing bounds");
  }
}

void read_levels(const toml::table& root, const std::string& file, Rubric& rubric) {
  const toml::array* levels = root.get_as<toml::array>("level");
  if (levels == nullptr || levels->size() < 2 || !levels->is_array_of_tables()) {
    throw UserError(file, "level", "there are fewer than two levels", "add [[level]] entries");
  }
  for (std::size_t i = 0; i < levels->size(); ++i) {
    const Section section(*levels->get_as<toml::table>(i), fmt::format("level {}", i + 1), file);
    section.only({"name", "at_most_deg", "source"});
    Level level{section.text("name", ""), std::nullopt, section.text("source", "")};
    if (section.find("at_most_deg") != nullptr) {
      level.at_most_deg = section.number("at_most_deg", 0.0, 0.0, most_deg);
    }
    rubric.levels.push_back(std::move(level));
    check_order(section, rubric, i + 1 == levels->size());
  }
}

void read_charts(const Section& cusum, const Section& learning, Rubric& rubric) {
  cusum.only(
      {"failure_beyond_deg", "acceptable_share", "unacceptable_share", "false_alarm", "missed"});
  auto& c = rubric.cusum;
  c.failure_beyond_deg = cusum.number("failure_beyond_deg", c.failure_beyond_deg, 0.0, most_deg);
  c.acceptable_share = cusum.number("acceptable_share", c.acceptable_share, 0.001, 0.998);
  c.unacceptable_share = cusum.number("unacceptable_share", c.unacceptable_share, 0.002, 0.999);
  c.false_alarm = cusum.number("false_alarm", c.false_alarm, 0.0001, 0.49);
  c.missed = cusum.number("missed", c.missed, 0.0001, 0.49);
  if (c.unacceptable_share <= c.acceptable_share) {
    cusum.fail(cusum.find("unacceptable_share"), "unacceptable_share",
               "it is not above acceptable_share", "write a larger share");
  }
  learning.only({"window_cases", "minimum_cases"});
  auto& l = rubric.learning;
  l.window_cases = learning.whole("window_cases", l.window_cases, 2, 1000);
  l.minimum_cases = learning.whole("minimum_cases", l.minimum_cases, 2, l.window_cases);
}

void read_comparison(const Section& comparison, const Section& outlier, Rubric& rubric) {
  comparison.only({"minimum_cases", "scale", "adjust_for"});
  auto& c = rubric.comparison;
  c.minimum_cases = comparison.whole("minimum_cases", c.minimum_cases, 2, 100000);
  const std::string scale = comparison.text("scale", "square-root");
  if (scale != "square-root" && scale != "degrees") {
    comparison.fail(comparison.find("scale"), "scale", fmt::format("'{}' is not known", scale),
                    "write \"square-root\" or \"degrees\"");
  }
  c.scale = scale == "degrees" ? Scale::Degrees : Scale::SquareRoot;
  c.adjust_for = comparison.texts("adjust_for");
  outlier.only({"beyond_deg", "robust_z"});
  rubric.outlier.beyond_deg =
      outlier.number("beyond_deg", rubric.outlier.beyond_deg, 0.0, most_deg);
  rubric.outlier.robust_z = outlier.number("robust_z", rubric.outlier.robust_z, 0.5, 1000.0);
}

toml::table parse(std::string_view text, const std::string& file) {
  try {
    return toml::parse(text, file);
  } catch (const toml::parse_error& error) {
    throw UserError(file, fmt::format("line {}", error.source().begin.line),
                    std::string(error.description()), "mend the TOML there");
  }
}

}  // namespace

std::vector<double> Rubric::thresholds_deg() const {
  std::vector<double> bounds;
  for (const Level& level : levels) {
    if (level.at_most_deg) bounds.push_back(*level.at_most_deg);
  }
  return bounds;
}

Rubric parse_rubric(std::string_view text, const std::string& file) {
  const toml::table root = parse(text, file);
  const toml::table none;
  const auto section = [&](const char* name) {
    const toml::node* node = root.get(name);
    if (node != nullptr && !node->is_table()) {
      throw UserError(file, fmt::format("line {}, {}", node->source().begin.line, name),
                      "this is no section", fmt::format("write [{}] and its keys below", name));
    }
    return Section(node == nullptr ? none : *node->as_table(), name, file);
  };
  Section(root, "rubric file", file)
      .only({"rubric", "level", "grading", "cusum", "learning", "comparison", "outlier"});
  Rubric rubric;
  rubric.file = file;
  const Section about = section("rubric");
  about.only({"name", "version"});
  rubric.name = about.text("name", "");
  rubric.version = about.text("version", "");
  read_levels(root, file, rubric);
  const Section grading = section("grading");
  grading.only({"widest_interval_deg"});
  rubric.widest_interval_deg =
      grading.number("widest_interval_deg", rubric.widest_interval_deg, 0.01, 180.0);
  read_charts(section("cusum"), section("learning"), rubric);
  read_comparison(section("comparison"), section("outlier"), rubric);
  return rubric;
}

Rubric read_rubric(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  std::stringstream text;
  if (in) text << in.rdbuf();
  if (!in) throw UserError(file.string(), "", "the rubric cannot be read", "check the name");
  return parse_rubric(text.str(), file.string());
}

std::string_view default_rubric_text() { return embedded::default_rubric(); }

Rubric default_rubric() { return parse_rubric(default_rubric_text(), "built in"); }

}  // namespace rhumb::grade
