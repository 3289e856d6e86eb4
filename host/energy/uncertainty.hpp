// How intervals combine: random parts in quadrature, systematic parts of one
// van with their sign (they are fully correlated).
#pragma once
#include <cmath>

#include "figure.hpp"

namespace packmile {

// Standard uncertainties (1 sd) behind a figure.
struct Uncertainty {
  double random = 0;
  double systematic = 0;
};

inline Uncertainty uncertainty_of(const Figure& figure) {
  const double all = (figure.high - figure.low) / 2 / kZ95;
  const double random = figure.scatter / kZ95;
  return {random, std::sqrt(std::fmax(0, all * all - random * random))};
}

inline Figure sum_of(const Figure& a, const Figure& b) {
  const Uncertainty ua = uncertainty_of(a);
  const Uncertainty ub = uncertainty_of(b);
  return figure_of(a.value + b.value, std::hypot(ua.random, ub.random),
                   ua.systematic + ub.systematic);
}

inline Figure scaled(const Figure& a, double factor) {
  const Uncertainty u = uncertainty_of(a);
  const double size = std::abs(factor);
  // + 0.0: no minus nought.
  return figure_of(a.value * factor + 0.0, u.random * size, u.systematic * size);
}

// a - b of one van; the systematic parts are not credited with cancelling.
inline Figure difference_of(const Figure& a, const Figure& b) { return sum_of(a, scaled(b, -1)); }

// a / b for independent a and b; b is not 0.
inline Figure ratio_of(const Figure& a, const Figure& b) {
  const Uncertainty ua = uncertainty_of(a);
  const Uncertainty ub = uncertainty_of(b);
  const double ratio = a.value / b.value;
  return figure_of(ratio, std::hypot(ua.random, ratio * ub.random) / std::abs(b.value),
                   std::hypot(ua.systematic, ratio * ub.systematic) / std::abs(b.value));
}

}  // namespace packmile
