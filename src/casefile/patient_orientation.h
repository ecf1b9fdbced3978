// What a picture's file may say of how the patient lies in it, against what the user states.
#pragma once

#include <optional>
#include <string>

#include "casefile/case.h"

namespace rhumb::casefile {

// DICOM's Patient Orientation (0020,0020) of a face-on picture of an eye: where its rows run to
// (left to right) and its columns (top to bottom), as letters of PS3.3 C.7.6.1.1.1 (A anterior, P
// posterior, R right, L left, H head, F feet). An upright, unmirrored picture has "L\\F", since the
// patient's left lies at the observer's right.
std::string orientation_of(Superior superior, bool mirrored);

// What a file's orientation says; nothing where it is empty, speaks of other directions (a picture
// from the side), or can't be.
struct PictureLie {
  Superior superior = Superior::Top;
  bool mirrored = false;
};
std::optional<PictureLie> lie_of(const std::string& patient_orientation);

const char* superior_name(Superior superior);

// UserError when what a file says of itself contradicts what is stated of it. `laterality`: "R",
// "L" or anything else; `date`: ISO 8601; each may be empty, which contradicts nothing. `file`
// stands in the message.
struct StatedPicture {
  Eye eye = Eye::Right;
  std::string date;
  Superior superior = Superior::Top;
  bool mirrored = false;
};
struct FileStatement {
  std::string laterality;
  std::string date;
  std::string patient_orientation;
};
void check_against_file(const StatedPicture& stated, const FileStatement& says,
                        const std::string& file);

}  // namespace rhumb::casefile
