#include "core/base/portable_math.h"

#include <bit>
#include <cmath>
#include <cstdint>
#include <iterator>

namespace tachproof::portable {
namespace {

constexpr double two_pi = 6.283185307179586476925;
// ln 2 in two parts; the first has 32 trailing zero bits, so that small
// integers times it are exact.
constexpr double ln2_hi = 0x1.62e42feep-1;
constexpr double ln2_lo = 0x1.a39ef35793c76p-33;

// c[0] + c[1] x + c[2] x^2 + ...
template <std::size_t n>
double polynomial(const double (&c)[n], double x) {
  double sum = c[n - 1];
  for (std::size_t i = n - 1; i-- > 0;) sum = sum * x + c[i];
  return sum;
}

// Exact; -1022 <= k <= 1023.
double power_of_two(int k) { return std::bit_cast<double>(static_cast<std::uint64_t>(1023 + k) << 52); }

// Taylor series: on |z| <= pi/4 the first term left out is below 1e-18.
constexpr double sine_terms[] = {
    1,
    -1.0 / 6,
    1.0 / 120,
    -1.0 / 5040,
    1.0 / 362880,
    -1.0 / 39916800,
    1.0 / 6227020800,
    -1.0 / 1307674368000,
    1.0 / 355687428096000,
};
constexpr double cosine_terms[] = {
    1,
    -1.0 / 2,
    1.0 / 24,
    -1.0 / 720,
    1.0 / 40320,
    -1.0 / 3628800,
    1.0 / 479001600,
    -1.0 / 87178291200,
    1.0 / 20922789888000,
};
// On |r| <= ln(2)/2 the first term left out is below 5e-18.
constexpr double exp_terms[] = {
    1,          1,           1.0 / 2,      1.0 / 6,       1.0 / 24,       1.0 / 120,       1.0 / 720,
    1.0 / 5040, 1.0 / 40320, 1.0 / 362880, 1.0 / 3628800, 1.0 / 39916800, 1.0 / 479001600, 1.0 / 6227020800,
};
// atanh(s)/s in s^2, for s <= 3 - 2 sqrt(2).
constexpr double atanh_terms[] = {
    1, 1.0 / 3, 1.0 / 5, 1.0 / 7, 1.0 / 9, 1.0 / 11, 1.0 / 13, 1.0 / 15, 1.0 / 17, 1.0 / 19, 1.0 / 21,
};

}  // namespace

SineCosine sine_cosine_of_turns(double turns) {
  const double quarters = std::floor(4 * turns + 0.5);
  const double z = (turns - quarters / 4) * two_pi;
  const double zz = z * z;
  const double sine = z * polynomial(sine_terms, zz);
  const double cosine = polynomial(cosine_terms, zz);
  switch (static_cast<int>(quarters - 4 * std::floor(quarters / 4))) {
    case 0: return {sine, cosine};
    case 1: return {cosine, -sine};
    case 2: return {-sine, -cosine};
    default: return {-cosine, sine};
  }
}

double exp(double x) {
  const double k = std::floor(x / (ln2_hi + ln2_lo) + 0.5);
  const double r = (x - k * ln2_hi) - k * ln2_lo;
  return polynomial(exp_terms, r) * power_of_two(static_cast<int>(k));
}

double exp_to_9_digits(double x) {
  const double k = std::floor(x * (1 / (ln2_hi + ln2_lo)) + 0.5);
  const double r = x - k * (ln2_hi + ln2_lo), rr = r * r;
  // Taylor to the eighth power, in pairs that do not wait for each other.
  const double low = (1 + r) + rr * (1.0 / 2 + r * (1.0 / 6));
  const double high = (1.0 / 24 + r * (1.0 / 120)) + rr * (1.0 / 720 + r * (1.0 / 5040) + rr * (1.0 / 40320));
  return (low + rr * rr * high) * power_of_two(static_cast<int>(k));
}

double log(double x) {
  const auto bits = std::bit_cast<std::uint64_t>(x);
  int k = static_cast<int>(bits >> 52) - 1022;
  double m = std::bit_cast<double>((bits & 0xf'ffff'ffff'ffff) | std::uint64_t{1022} << 52);  // in [1/2, 1)
  if (m < 0.70710678118654752) {
    m *= 2;
    --k;
  }
  const double s = (m - 1) / (m + 1);
  return k * ln2_hi + (k * ln2_lo + 2 * s * polynomial(atanh_terms, s * s));
}

}  // namespace tachproof::portable
