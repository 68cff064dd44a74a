// Whether two results agree, given their uncertainties.
#pragma once

#include <limits>

namespace tachproof {

// E_n of ISO/IEC 17043 and ISO 13528: (x - reference) / sqrt(U_x^2 + U_reference^2),
// both U expanded to 95 % (k = 2). The results agree when |E_n| <= 1. NaN when a
// number is missing, or when neither has an uncertainty.
double en_score(double x, double reference, double expanded_x, double expanded_reference);

// |E_n| beyond which one of `count` comparisons is hardly chance: when all
// agree, the largest of them is beyond it in 1 % of cases at most, where beyond
// 1 it is in 5 % of single ones. Bonferroni's inequality (NIST/SEMATECH
// e-Handbook, 7.4.7.3) and quantiles of Student's t with `dof` degrees of
// freedom: the fewer there are, the further out chance reaches. 1 for a single
// comparison.
double en_limit_among(int count, double dof = std::numeric_limits<double>::infinity());

}  // namespace tachproof
