// Names of folders out of what people write.
#include "files/plain_name.h"

#include <catch2/catch.hpp>

using rhumb::files::plain_name;

TEST_CASE("a folder's name leads nowhere and needs no quoting") {
  CHECK(plain_name("clinic/a 017") == "clinic-a-017");
  CHECK(plain_name("../../etc/passwd") == "etc-passwd");
  CHECK(plain_name("$(rm -rf ~);\n\"x\"") == "rm-rf-x-");
  CHECK(plain_name("a\xc3\xa4_b") == "a-_b");
  CHECK(plain_name("") == "");
  CHECK(plain_name(std::string(200, 'x')) == std::string(80, 'x'));
}
