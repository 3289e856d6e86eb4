#include "cli/table.hpp"

#include <doctest/doctest.h>

#include <clocale>

using namespace packmile::cli;

TEST_CASE("table: columns line up, numbers stand right, lines end without spaces") {
  std::setlocale(LC_CTYPE, "C.UTF-8");
  CHECK(render_table({{"van", false}, {"miles", true}, {"findings", false}},
                     {{"Linden", "4.6", ""}, {"Hérön", "14.58", "gap"}, {"Yew"}}) ==
        "van     miles  findings\n"
        "------  -----  --------\n"
        "Linden    4.6\n"
        "Hérön   14.58  gap\n"
        "Yew\n");
}

TEST_CASE("table: widths are those of the terminal") {
  std::setlocale(LC_CTYPE, "C.UTF-8");
  CHECK(width_of("Hérön") == 5);
  CHECK(width_of("車") == 2);
  CHECK(width_of("\xff\xfe") == 2);
  CHECK(width_of(std::string_view{"a\0b", 3}) == 3);
  CHECK(width_of("") == 0);
}

TEST_CASE("table: sentences to the width of a terminal, and as they are without one") {
  std::setlocale(LC_CTYPE, "C.UTF-8");
  const std::string lines =
      "Linden, sign: nineteen votes for it\nshort\n\nverylongwordthatfitsnowhere a b\n";
  CHECK(wrapped_lines(lines, 0) == lines);
  CHECK(wrapped_lines(lines, 20) ==
        "Linden, sign:\n  nineteen votes for\n  it\nshort\n\nverylongwordthatfitsnowhere\n  a b\n");
  CHECK(wrapped_lines("Hérön Hérön", 11) == "Hérön Hérön");
  CHECK(wrapped_words("one two three", 4, 12) == "one two\n    three");
}
