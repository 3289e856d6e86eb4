// Quantiles of Student's t: what 1.96 becomes where a width comes from few
// residuals.
#pragma once

namespace packmile {

// The value that a share `probability` of the distribution lies below.
// 0 < probability < 1; degrees > 0 (otherwise infinite: nothing is known).
[[nodiscard]] double student_t_quantile(double probability, double degrees);

// The two-sided 95 % factor; 1.96 for infinitely many degrees.
[[nodiscard]] double student_t_95(double degrees);

}  // namespace packmile
