// The validation's texts, filled by report::fill.
#pragma once

namespace rhumb::validate {

extern const char* const page_text;  // report.html
extern const char* const part_text;  // Markdown, for a document's part

}  // namespace rhumb::validate
