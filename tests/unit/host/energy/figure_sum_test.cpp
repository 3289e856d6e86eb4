#include "energy/figure_sum.hpp"

#include <doctest/doctest.h>

using namespace packmile;
using doctest::Approx;

// Source: JCGM 100 (GUM) 5.1.2 and 5.2.2: independent parts in quadrature,
// fully correlated parts linearly; arithmetic by hand.
TEST_CASE("figure sum: random parts in quadrature, systematic parts linearly") {
  FigureSum sum;
  for (int k = 0; k < 4; ++k) sum.add(figure_of(10, 0.3, 0.4));
  const Figure f = sum.figure();
  CHECK(f.value == Approx(40));
  CHECK(f.scatter == Approx(kZ95 * 0.6));                          // 0.3 * sqrt(4)
  CHECK(f.high - f.value == Approx(kZ95 * std::hypot(0.6, 1.6)));  // 0.4 * 4
  CHECK(f.value - f.low == Approx(f.high - f.value));
}

TEST_CASE("figure sum: a difference of the same sensor cancels its systematic part") {
  FigureSum sum;
  sum.add(figure_of(10, 0, 0.4));
  sum.add(figure_of(8, 0, 0.4), -1);
  CHECK(sum.figure().value == Approx(2));
  CHECK(sum.figure().high == Approx(2));
  CHECK(sum.figure().low == Approx(2));
}

TEST_CASE("figure sum: one-sided intervals stay on their side") {
  FigureSum sum;
  sum.add(Figure{10, 10, 11, 0});
  CHECK(sum.figure().low == Approx(10));
  CHECK(sum.figure().high == Approx(11));
  FigureSum negated;
  negated.add(Figure{10, 10, 11, 0}, -1);
  CHECK(negated.figure().low == Approx(-11));
  CHECK(negated.figure().high == Approx(-10));
}

TEST_CASE("figure sum: nothing known is unknown, never zero") {
  FigureSum sum;
  CHECK(sum.maybe("no trips").why == "no trips");
  sum.add(MaybeFigure::unknown("too little"));
  const auto none = sum.maybe("no trips");
  CHECK_FALSE(none.figure.has_value());
  CHECK(none.why == "too little");
  sum.add(MaybeFigure::known(figure_of(1, 0.1, 0)));
  CHECK(sum.maybe("no trips").figure->value == Approx(1));
}

// Source: GUM 5.1.6: relative uncertainties of a quotient add in quadrature.
TEST_CASE("figure sum: a quotient adds relative parts") {
  const Figure q = quotient(figure_of(20, 0.2, 0), figure_of(50, 0, 1));
  CHECK(q.value == Approx(0.4));
  CHECK(q.scatter == Approx(kZ95 * 0.4 * 0.01));
  CHECK(q.high - q.value == Approx(kZ95 * 0.4 * std::hypot(0.01, 0.02)));
}

// Source: GUM 5.1.6, as above.
TEST_CASE("figure sum: a product adds relative parts, each side by itself") {
  const Figure p = product(figure_of(20, 0.2, 0), Figure{50, 50, 51, 0});
  CHECK(p.value == Approx(1000));
  CHECK(p.low == Approx(1000 - kZ95 * 10));
  CHECK(p.high == Approx(1000 + std::hypot(kZ95 * 10, 20)));
}

TEST_CASE("figure sum: what may be missing widens one side") {
  FigureSum sum;
  sum.add(Figure{10, 9, 11, 0});
  sum.widen(0, 4);
  CHECK(sum.figure().low == Approx(9));
  CHECK(sum.figure().high == Approx(15));
}
