// The words of the files for the values of enumerations.
#pragma once

#include "outcome/outcome.h"

namespace rhumb::report {

constexpr const char* word(outcome::LensState lens) {
  switch (lens) {
    case outcome::LensState::None:
      return "none";
    case outcome::LensState::Previous:
      return "previous";
    case outcome::LensState::New:
      return "new";
    case outcome::LensState::Unknown:
      break;
  }
  return "unknown";
}

constexpr const char* word(casefile::ReferenceKind kind) {
  switch (kind) {
    case casefile::ReferenceKind::Ink:
      return "ink";
    case casefile::ReferenceKind::Photo:
      return "photo";
    case casefile::ReferenceKind::PreviousLens:
      return "previous-lens";
    case casefile::ReferenceKind::None:
      break;
  }
  return "none";
}

constexpr const char* word(casefile::Eye eye) {
  return eye == casefile::Eye::Right ? "right" : "left";
}

}  // namespace rhumb::report
