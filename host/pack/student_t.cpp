#include "pack/student_t.hpp"

#include <boost/math/distributions/students_t.hpp>
#include <limits>

namespace packmile {
namespace {

// Nothing throws: what cannot be computed comes back as infinity or NaN.
namespace policies = boost::math::policies;
using Quiet = policies::policy<
    policies::domain_error<policies::ignore_error>, policies::pole_error<policies::ignore_error>,
    policies::overflow_error<policies::ignore_error>,
    policies::evaluation_error<policies::ignore_error>, policies::promote_double<false>>;

}  // namespace

double student_t_quantile(double probability, double degrees) {
  if (!(degrees > 0)) return std::numeric_limits<double>::infinity();
  return boost::math::quantile(boost::math::students_t_distribution<double, Quiet>(degrees),
                               probability);
}

double student_t_95(double degrees) { return student_t_quantile(0.975, degrees); }

}  // namespace packmile
