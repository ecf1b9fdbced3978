// One condition that a clip was rendered under.
#pragma once

#include <string>

namespace rhumb::validate {

struct Condition {
  std::string group;   // "contrast", "blur", ...
  double level = 0.0;  // the mildest is the usual one; also the order in tables
  std::string label;   // for people: "0.04 mm", "photo"
  bool usual = false;  // the level that clips of the other groups have

  bool same_as(const Condition& other) const {
    return group == other.group && label == other.label;
  }
};

}  // namespace rhumb::validate
