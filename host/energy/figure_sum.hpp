// Sums of figures of one van.
//
// Method    random parts in quadrature, systematic parts (offset, gain) added
//           with their sign before squaring: they are the same sensor's. The
//           systematic part is what low and high say beyond the scatter.
#pragma once
#include <algorithm>
#include <cmath>
#include <string>
#include <utility>

#include "figure.hpp"

namespace packmile {

// The parts of a figure's interval, 95 % half-widths.
struct IntervalParts {
  double random = 0;
  double systematic_below = 0;
  double systematic_above = 0;
};

[[nodiscard]] inline IntervalParts parts_of(const Figure& f) {
  const auto beyond = [&](double half) {
    return half > f.scatter ? std::sqrt(half * half - f.scatter * f.scatter) : 0.0;
  };
  return {f.scatter, beyond(f.value - f.low), beyond(f.high - f.value)};
}

[[nodiscard]] inline Figure figure_from(double value, const IntervalParts& parts) {
  return {value, value - std::hypot(parts.random, parts.systematic_below),
          value + std::hypot(parts.random, parts.systematic_above), parts.random};
}

class FigureSum {
 public:
  void add(const Figure& f, double factor = 1) {
    const IntervalParts parts = parts_of(f);
    value_ += f.value * factor;
    random_squared_ += parts.random * parts.random * factor * factor;
    if_high_ += factor * parts.systematic_above;
    if_low_ -= factor * parts.systematic_below;
    ++known_;
  }
  // An unknown one is left out, and its reason kept.
  void add(const MaybeFigure& f, double factor = 1) {
    if (f.figure)
      add(*f.figure, factor);
    else if (why_.empty())
      why_ = f.why;
  }
  // What may be added or missing beside the figures themselves, 95 %; both from 0.
  void widen(double below, double above) {
    if_low_ -= std::fmax(0, below);
    if_high_ += std::fmax(0, above);
  }
  [[nodiscard]] bool known() const { return known_ > 0; }
  [[nodiscard]] Figure figure() const {
    return figure_from(value_, {std::sqrt(random_squared_), -std::min({if_high_, if_low_, 0.0}),
                                std::max({if_high_, if_low_, 0.0})});
  }
  // Unknown when nothing was added: for the reason of the first unknown one,
  // else for `none`.
  [[nodiscard]] MaybeFigure maybe(const std::string& none) const {
    if (known()) return MaybeFigure::known(figure());
    return MaybeFigure::unknown(why_.empty() ? none : why_);
  }

 private:
  double value_ = 0;
  double random_squared_ = 0;
  // How the sum moves when the sensor is off by its half-width one way and the
  // other.
  double if_high_ = 0;
  double if_low_ = 0;
  int known_ = 0;
  std::string why_;
};

// Relative parts add in quadrature (numerator and denominator come from
// different sensors). The denominator must not be 0.
[[nodiscard]] inline Figure quotient(const Figure& a, const Figure& b) {
  const IntervalParts p = parts_of(a), q = parts_of(b);
  const double ratio = a.value / b.value;
  const double b_abs = std::abs(b.value);
  const auto both = [&](double of_a, double of_b) {
    return std::hypot(of_a / b_abs, ratio * of_b / b_abs);
  };
  return figure_from(ratio, {both(p.random, q.random), both(p.systematic_below, q.systematic_above),
                             both(p.systematic_above, q.systematic_below)});
}

// Of independent figures from 0 up.
[[nodiscard]] inline Figure product(const Figure& a, const Figure& b) {
  const IntervalParts p = parts_of(a), q = parts_of(b);
  const auto both = [&](double of_a, double of_b) {
    return std::hypot(of_a * b.value, a.value * of_b);
  };
  return figure_from(a.value * b.value,
                     {both(p.random, q.random), both(p.systematic_below, q.systematic_below),
                      both(p.systematic_above, q.systematic_above)});
}

}  // namespace packmile
