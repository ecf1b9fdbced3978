// Parts that case and series files share. Private to this room.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "casefile/case.h"
#include "casefile/checked_table.h"
#include "casefile/read.h"

namespace rhumb::casefile {

inline constexpr std::size_t most_code_characters = 64;

Eye need_eye(const CheckedTable& table);
Superior superior_from(int word);
inline constexpr std::initializer_list<const char*> superior_words = {"top", "bottom", "left",
                                                                      "right"};

// [lens] or [previous_lens].
LensMarks lens_marks(const CheckedTable& table);

// The named files, relative to the folder of the table's file. Existing ordinary files only, unless
// Unchecked; `what` names them in messages ("recording").
std::vector<std::filesystem::path> named_files(const CheckedTable& table, const std::string& key,
                                               NamedFiles named, const std::string& what);

// Keratometry, refraction and lens power of the top table, each optional.
optics::StatedEye stated_eye(const CheckedTable& top);

// [reference], once or as a list; checked against each other and against [previous_lens].
std::vector<Reference> references(const CheckedTable& top, NamedFiles named);

// [[anchor]]; ink_px must fit the meridians of the ink reference.
std::vector<Anchor> anchors(const CheckedTable& top, const std::vector<Reference>& references);

}  // namespace rhumb::casefile
