#include "report/number_text.hpp"

#include <doctest/doctest.h>

#include <cmath>

using namespace packmile;

namespace {

Figure with_u(double value, double u) { return figure_of(value, 0, u); }

}  // namespace

// Source: JCGM 100 (GUM) 7.2.6: at most two significant digits of the
// uncertainty, the value to the same place.
TEST_CASE("number text: two significant digits of u decide") {
  CHECK(figure_text(with_u(12.3456, 0.2)) == "12.35 (11.95 to 12.74)");
  CHECK(figure_text(with_u(12.3456, 0.04)) == "12.346 (12.267 to 12.424)");
  CHECK(figure_text(with_u(1234.56, 34)) == "1235 (1168 to 1301)");
  CHECK(figure_text(with_u(123456, 3400)) == "123500 (116800 to 130100)");
  CHECK(figure_text(with_u(0.0123456, 0.0021)) == "0.0123 (0.0082 to 0.0165)");
}

// No source: 0.0996 is 0.10 to two digits, and must not give 0.100.
TEST_CASE("number text: a u that rounds up to the next power of ten loses a digit") {
  CHECK(figure_text(with_u(5, 0.0996)) == "5.00 (4.80 to 5.20)");
  CHECK(figure_text(with_u(5, 0.0994)) == "5.000 (4.805 to 5.195)");
}

TEST_CASE("number text: without an interval the value alone and not known is a dash") {
  CHECK(figure_text(Figure{40'000.04, 40'000.04, 40'000.04, 0}) == "40000.0");
  CHECK(figure_text(MaybeFigure::unknown("why")) == "-");
  CHECK(figure_text(Figure{1, NAN, NAN, 0}) == "1.0");
  CHECK(figure_text(with_u(-0.0001, 0.02)).substr(0, 5) == "0.000");
}

TEST_CASE("number text: a factor turns value and interval alike") {
  CHECK(figure_text(with_u(160.9344, 1.609344), 1 / kKmPerMile) == "100.0 (98.0 to 102.0)");
}

TEST_CASE("number text: shares are cut down") {
  CHECK(share_text(1) == "100.0 %");
  CHECK(share_text(0.99999) == "99.9 %");
  CHECK(share_text(0.5) == "50.0 %");
  CHECK(share_text(0) == "0.0 %");
}
