// A picture's own statement of how the patient lies in it, against DICOM PS3.3 C.7.6.1.1.1.
#include <catch2/catch.hpp>

#include "casefile/patient_orientation.h"
#include "files/user_error.h"

using namespace rhumb;
using namespace rhumb::casefile;
using Catch::Contains;

TEST_CASE("orientation of a picture as DICOM defines it") {
  // Face on, upright: rows run to the patient's left, columns to the feet. Mirrored R\F; seen from
  // the head R\H.
  CHECK(orientation_of(Superior::Top, false) == "L\\F");
  CHECK(orientation_of(Superior::Top, true) == "R\\F");
  CHECK(orientation_of(Superior::Bottom, false) == "R\\H");
  // Turned counter-clockwise by a quarter: what was below lies to the right, what was to the right
  // on top, so that columns run to the right-hand side of the patient.
  CHECK(orientation_of(Superior::Left, false) == "F\\R");
  CHECK(orientation_of(Superior::Right, false) == "H\\L");
  for (const Superior superior : {Superior::Top, Superior::Bottom, Superior::Left, Superior::Right})
    for (const bool mirrored : {false, true}) {
      const auto lie = lie_of(orientation_of(superior, mirrored));
      REQUIRE(lie);
      CHECK(lie->superior == superior);
      CHECK(lie->mirrored == mirrored);
    }
  CHECK(lie_of("LA\\FP")->superior == Superior::Top);
  CHECK_FALSE(lie_of("A\\F"));  // from the side
  CHECK_FALSE(lie_of(""));
  CHECK_FALSE(lie_of("L"));
}

TEST_CASE("a contradiction names the file and the mend") {
  const StatedPicture stated{Eye::Left, "2026-05-15", Superior::Top, false};
  CHECK_NOTHROW(check_against_file(stated, {"L", "2026-05-15", "L\\F"}, "a.dcm"));
  CHECK_NOTHROW(check_against_file(stated, {"", "", ""}, "a.dcm"));
  CHECK_THROWS_WITH(check_against_file(stated, {"R", "", ""}, "a.dcm"),
                    Contains("a.dcm") && Contains("right eye"));
  CHECK_THROWS_WITH(check_against_file(stated, {"L", "2026-05-16", ""}, "a.dcm"),
                    Contains("2026-05-16") && Contains("date"));
  CHECK_THROWS_WITH(check_against_file(stated, {"L", "", "R\\H"}, "a.dcm"),
                    Contains("superior = \"bottom\" and mirrored = false"));
}
