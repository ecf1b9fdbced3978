// One table of a scene file, read key by key. For scene_file.cpp alone: it pulls in the TOML
// parser.
#pragma once

#include <fmt/core.h>
#include <toml++/toml.h>

#include <array>
#include <cmath>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "angle/angle.h"
#include "files/user_error.h"

namespace rhumb::render {

// One table of the file: hands out its values and complains about what nobody asked for.
class Section {
 public:
  Section(std::string file, std::string name, const toml::table* table)
      : file_(std::move(file)), name_(std::move(name)), table_(table) {}

  void number(const char* key, double& value, double low, double high, double scale = 1.0) {
    if (const toml::node* node = find(key)) {
      const auto given = node->value<double>();
      if (!given || !std::isfinite(*given)) fail(*node, key, "is not a number", "write a number");
      check(*node, key, *given, low, high);
      value = *given * scale;
    }
  }
  void angle(const char* key, double& value, double low, double high) {
    number(key, value, low, high, rhumb::angle::rad_from_deg(1.0));
  }
  void whole(const char* key, int& value, int low, int high) {
    double v = value;
    number(key, v, low, high);
    if (v != std::floor(v))
      fail(*table_->get(key), key, "is not a whole number", "write a whole number");
    value = static_cast<int>(v);
  }
  void flag(const char* key, bool& value) {
    if (const toml::node* node = find(key)) {
      if (!node->is_boolean()) fail(*node, key, "is neither true nor false", "write true or false");
      value = *node->value<bool>();
    }
  }
  void text(const char* key, std::string& value) {
    if (const toml::node* node = find(key)) {
      if (!node->is_string()) fail(*node, key, "is not text", "put it in quotation marks");
      value = *node->value<std::string>();
    }
  }
  template <class T>
  void choice(const char* key, T& value, const std::vector<std::pair<const char*, T>>& names) {
    std::string given;
    text(key, given);
    if (given.empty()) return;
    std::string known;
    for (const auto& [name, meaning] : names) {
      if (given == name) {
        value = meaning;
        return;
      }
      known += (known.empty() ? "" : ", ") + std::string(name);
    }
    fail(*table_->get(key), key, "'" + given + "' is not known", "write one of: " + known);
  }
  void list(const char* key, std::vector<double>& values, double low, double high, double scale) {
    const toml::node* node = find(key);
    if (node == nullptr) return;
    const toml::array* array = node->as_array();
    if (array == nullptr) fail(*node, key, "is not a list", "write [1.0, 2.0]");
    values.clear();
    for (const toml::node& item : *array) {
      const auto v = item.value<double>();
      if (!v || !std::isfinite(*v))
        fail(item, key, "holds something that is no number", "write numbers only");
      check(item, key, *v, low, high);
      values.push_back(*v * scale);
    }
  }
  template <std::size_t n>
  void tuple(const char* key, std::array<double, n>& values, double low, double high,
             double scale = 1.0) {
    std::vector<double> given(values.begin(), values.end());
    for (double& v : given) v /= scale;
    std::vector<double> read = given;
    list(key, read, low, high, 1.0);
    if (read.size() != n)
      fail(*table_->get(key), key, fmt::format("has not {} numbers", n),
           fmt::format("write {} numbers", n));
    for (std::size_t i = 0; i < n; ++i) values[i] = read[i] * scale;
  }
  bool has(const char* key) const { return table_ != nullptr && table_->contains(key); }
  void done() const {
    if (table_ == nullptr) return;
    for (const auto& [key, node] : *table_)
      if (!known_.contains(std::string(key.str())))
        fail(node, std::string(key.str()), "is not known here",
             "see docs/rendering.md for what a scene may hold");
  }
  [[noreturn]] void fail(const toml::node& node, const std::string& key, const std::string& problem,
                         const std::string& mend) const {
    const std::string place = name_.empty() ? key : name_ + "." + key;
    throw UserError(file_, fmt::format("line {}, {}", node.source().begin.line, place), problem,
                    mend);
  }

 private:
  const toml::node* find(const char* key) {
    known_.insert(key);
    return table_ == nullptr ? nullptr : table_->get(key);
  }
  void check(const toml::node& node, const char* key, double v, double low, double high) const {
    if (v < low || v > high)
      fail(node, key, fmt::format("{} lies outside {} to {}", v, low, high),
           fmt::format("write {} to {}", low, high));
  }
  std::string file_;
  std::string name_;
  const toml::table* table_;
  std::set<std::string> known_;
};

}  // namespace rhumb::render
