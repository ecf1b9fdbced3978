#include "report/template.h"

#include <fmt/core.h>

#include <nlohmann/json.hpp>
#include <stdexcept>
#include <vector>

#include "report/utf8.h"

namespace rhumb::report {
namespace {

using Json = nlohmann::ordered_json;

bool turns_direction(char32_t letter) {
  return (letter >= 0x202A && letter <= 0x202E) || (letter >= 0x2066 && letter <= 0x2069) ||
         letter == 0x200E || letter == 0x200F || letter == 0x061C;
}

void append_escaped(std::string& out, char32_t letter) {
  switch (letter) {
    case U'&':
      out += "&amp;";
      return;
    case U'<':
      out += "&lt;";
      return;
    case U'>':
      out += "&gt;";
      return;
    case U'"':
      out += "&quot;";
      return;
    case U'\'':
      out += "&#39;";
      return;
    case U'\n':
    case U'\t':
    case U'\r':
      out += ' ';
      return;
    default:
      break;
  }
  if (letter < 0x20 || (letter >= 0x7F && letter < 0xA0) || turns_direction(letter))
    out += fmt::format("\u27E8U+{:04X}\u27E9", static_cast<std::uint32_t>(letter));
  else
    append_utf8(out, letter);
}

class Filler {
 public:
  Filler(std::string_view page, const Json& values) : page_(page) { scopes_.push_back(&values); }

  std::string all() {
    std::string out;
    block(out, "", true);
    return out;
  }

 private:
  // Reads up to the closing tag of `section` (or the end), writing only when `live`.
  void block(std::string& out, std::string_view section, bool live) {
    while (true) {
      const std::size_t open = page_.find("{{", at_);
      if (live) out += page_.substr(at_, open == std::string_view::npos ? open : open - at_);
      if (open == std::string_view::npos) {
        if (!section.empty()) throw std::logic_error(fmt::format("{} is not closed", section));
        at_ = page_.size();
        return;
      }
      at_ = open;
      const std::string_view tag = next_tag();
      if (tag.front() == '/') {
        if (tag.substr(1) != section) throw std::logic_error(fmt::format("{} closes", tag));
        return;
      }
      if (tag.front() == '#' || tag.front() == '^')
        this->section(out, tag.substr(1), tag.front() == '^', live);
      else if (live)
        value(out, tag);
    }
  }

  // The content between the braces; for three braces with a leading '{'.
  std::string_view next_tag() {
    const bool raw = page_.substr(at_, 3) == "{{{";
    const std::string_view ending = raw ? "}}}" : "}}";
    const std::size_t close = page_.find(ending, at_);
    if (close == std::string_view::npos) throw std::logic_error("a tag is not closed");
    const std::string_view tag = page_.substr(at_ + 2, close - at_ - 2);
    at_ = close + ending.size();
    if (tag.empty()) throw std::logic_error("a tag is empty");
    return tag;
  }

  void section(std::string& out, std::string_view name, bool inverted, bool live) {
    const Json* found = live ? look_up(name) : nullptr;
    const bool shown = found != nullptr && !found->is_null() && *found != false &&
                       !(found->is_array() && found->empty()) &&
                       !(found->is_string() && found->get_ref<const std::string&>().empty());
    const std::size_t start = at_;
    if (inverted || !shown || !found->is_array()) {
      if (shown && !inverted) scopes_.push_back(found);
      block(out, name, live && shown != inverted);
      if (shown && !inverted) scopes_.pop_back();
      return;
    }
    for (const Json& item : *found) {
      at_ = start;
      scopes_.push_back(&item);
      block(out, name, true);
      scopes_.pop_back();
    }
  }

  void value(std::string& out, std::string_view tag) {
    const bool raw = tag.front() == '{';
    const std::string_view name = raw ? tag.substr(1) : tag;
    const Json* found = look_up(name);
    if (found == nullptr) throw std::logic_error(fmt::format("nothing is named {}", name));
    if (found->is_null()) return;
    const std::string text = found->is_string()
                                 ? found->get<std::string>()
                                 : found->dump(-1, ' ', false, Json::error_handler_t::replace);
    out += raw ? text : escape_html(text);
  }

  const Json* look_up(std::string_view name) const {
    if (name == ".") return scopes_.back();
    for (auto scope = scopes_.rbegin(); scope != scopes_.rend(); ++scope) {
      if (!(*scope)->is_object()) continue;
      const auto found = (*scope)->find(std::string(name));
      if (found != (*scope)->end()) return &*found;
    }
    return nullptr;
  }

  std::string_view page_;
  std::size_t at_ = 0;
  std::vector<const Json*> scopes_;
};

}  // namespace

std::string escape_html(std::string_view text) {
  std::string out;
  out.reserve(text.size());
  while (!text.empty()) append_escaped(out, take_letter(text));
  return out;
}

std::string fill(std::string_view page, const Json& values) { return Filler(page, values).all(); }

std::string json_for_script(const Json& value) {
  std::string out;
  for (const char letter : value.dump(-1, ' ', true, Json::error_handler_t::replace)) {
    if (letter == '<')
      out += "\\u003c";
    else if (letter == '>')
      out += "\\u003e";
    else if (letter == '&')
      out += "\\u0026";
    else
      out += letter;
  }
  return out;
}

}  // namespace rhumb::report
