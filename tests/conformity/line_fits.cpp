// Fits sets of points from stdin, for line_fits.py.
//
// Input     per set: its kind (theil, line, york, proportion) and n, then n rows
//           of x y u_x u_y.
// Output    per set one line of numbers, or `none`.
#include <cstddef>
#include <cstdio>
#include <iostream>
#include <string>
#include <vector>

#include "pack/line_with_errors.hpp"
#include "pack/robust.hpp"

int main() {
  std::string kind;
  std::size_t n = 0;
  while (std::cin >> kind >> n) {
    if (n > packmile::kMostPoints) return 2;
    std::vector<packmile::PointWithErrors> points(n);
    std::vector<double> x, y;
    for (auto& p : points) {
      if (!(std::cin >> p.x >> p.y >> p.u_x >> p.u_y)) return 2;
      x.push_back(p.x);
      y.push_back(p.y);
    }
    if (kind == "theil") {
      const auto fit = packmile::fit_theil_sen(x, y);
      const auto kendall = packmile::kendall_of(x, y);
      if (!fit || !kendall) {
        std::puts("none");
        continue;
      }
      std::printf("%.17g %.17g %.17g %.17g %.17g %.17g\n", fit->slope, fit->intercept, fit->low,
                  fit->high, kendall->tau, kendall->probability);
    } else if (kind == "line") {
      const auto fit = packmile::fit_line(x, y);
      if (!fit) {
        std::puts("none");
        continue;
      }
      std::printf("%.17g %.17g %.17g %.17g\n", fit->slope, fit->intercept, fit->u_slope,
                  fit->u_intercept);
    } else if (kind == "york") {
      const auto fit = packmile::fit_line_with_errors(points);
      if (!fit) {
        std::puts("none");
        continue;
      }
      std::printf("%.17g %.17g %.17g\n", fit->slope, fit->intercept, fit->chi2);
    } else if (kind == "proportion") {
      const auto fit = packmile::fit_proportion(points);
      if (!fit) {
        std::puts("none");
        continue;
      }
      std::printf("%.17g %.17g\n", fit->slope, fit->chi2);
    } else {
      return 2;
    }
  }
  return 0;
}
