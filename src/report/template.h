// Fills page templates with values. The language is the common part of Mustache
// (mustache.github.io/mustache.5.html): {{name}} escaped, {{{name}}} as it is,
// {{#name}}...{{/name}} for lists, objects and truth, {{^name}}...{{/name}} for their absence,
// {{.}} the item itself.
#pragma once

#include <nlohmann/json_fwd.hpp>
#include <string>
#include <string_view>

namespace rhumb::report {

// Safe between tags and inside quoted attributes. Control characters, bytes that are not UTF-8 and
// the marks that turn the direction of text are made visible: what is read is what is there.
std::string escape_html(std::string_view text);

// Throws std::logic_error for a template that is not well formed: a fault of this program.
std::string fill(std::string_view page, const nlohmann::ordered_json& values);

// JSON that can stand inside a <script> element.
std::string json_for_script(const nlohmann::ordered_json& value);

}  // namespace rhumb::report
