#include "report/safe_text.hpp"

#include <doctest/doctest.h>

using packmile::clean_text;

// Source: RFC 3629 for what is UTF-8.
TEST_CASE("say: letters of any script pass") {
  for (const std::string text : {"Linden", "Hérön", "Ⅷ 車", "🚐", ""})
    CHECK(clean_text(text) == text);
}

TEST_CASE("say: what a terminal would obey becomes a question mark") {
  CHECK(clean_text("\x1b[31mred") == "?[31mred");
  CHECK(clean_text("a\nb\tc\x7f") == "a?b?c?");
  CHECK(clean_text("\xc2\x9b"
                   "31m") == "?31m");  // C1 control sequence introducer
  CHECK(clean_text("a\xe2\x80\xae"
                   "b") == "a?b");  // right-to-left override
  CHECK(clean_text(std::string{"a\0b", 3}) == "a?b");
}

TEST_CASE("say: what is no UTF-8 becomes question marks") {
  CHECK(clean_text("\xff") == "?");
  CHECK(clean_text("\xc3") == "?");                 // cut off
  CHECK(clean_text("\xc0\xaf") == "??");            // too long a form
  CHECK(clean_text("\xed\xa0\x80") == "???");       // surrogate
  CHECK(clean_text("\xf4\x90\x80\x80") == "????");  // beyond U+10FFFF
}
