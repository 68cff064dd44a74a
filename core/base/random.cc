#include "core/base/random.h"

#include <bit>
#include <cmath>

#include "core/base/portable_math.h"

namespace tachproof {
namespace {

double ratio(const double (&top)[8], const double (&bottom)[8], double x) {
  double a = top[7];
  double b = bottom[7];
  for (int i = 6; i >= 0; --i) {
    a = a * x + top[i];
    b = b * x + bottom[i];
  }
  return a / b;
}

// Wichura's coefficients: for |p - 1/2| <= 0.425, for the near tail, and for
// the far tail.
constexpr double centre_top[] = {
    3.3871328727963666080e0,  1.3314166789178437745e+2, 1.9715909503065514427e+3, 1.3731693765509461125e+4,
    4.5921953931549871457e+4, 6.7265770927008700853e+4, 3.3430575583588128105e+4, 2.5090809287301226727e+3,
};
constexpr double centre_bottom[] = {
    1.0,
    4.2313330701600911252e+1,
    6.8718700749205790830e+2,
    5.3941960214247511077e+3,
    2.1213794301586595867e+4,
    3.9307895800092710610e+4,
    2.8729085735721942674e+4,
    5.2264952788528545610e+3,
};
constexpr double near_top[] = {
    1.42343711074968357734e0, 4.63033784615654529590e0,  5.76949722146069140550e0,  3.64784832476320460504e0,
    1.27045825245236838258e0, 2.41780725177450611770e-1, 2.27238449892691845833e-2, 7.74545014278341407640e-4,
};
constexpr double near_bottom[] = {
    1.0,
    2.05319162663775882187e0,
    1.67638483018380384940e0,
    6.89767334985100004550e-1,
    1.48103976427480074590e-1,
    1.51986665636164571966e-2,
    5.47593808499534494600e-4,
    1.05075007164441684324e-9,
};
constexpr double far_top[] = {
    6.65790464350110377720e0,  5.46378491116411436990e0,  1.78482653991729133580e0,
    2.96560571828504891230e-1, 2.65321895265761230930e-2, 1.24266094738807843860e-3,
    2.71155556874348757815e-5, 2.01033439929228813265e-7,
};
constexpr double far_bottom[] = {
    1.0,
    5.99832206555887937690e-1,
    1.36929880922735805310e-1,
    1.48753612908506148525e-2,
    7.86869131145613259100e-4,
    1.84631831751005468180e-5,
    1.42151175831644588870e-7,
    2.04426310338993978564e-15,
};

}  // namespace

std::uint64_t split_mix(std::uint64_t& state) {
  state += 0x9e3779b97f4a7c15;
  std::uint64_t z = state;
  z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9;
  z = (z ^ (z >> 27)) * 0x94d049bb133111eb;
  return z ^ (z >> 31);
}

Random::Random(std::uint64_t seed, std::uint64_t stream) {
  // The stream number is scrambled first: neighbouring seeds and streams must
  // not share states.
  std::uint64_t mixed = seed ^ split_mix(stream);
  for (std::uint64_t& word : state_) word = split_mix(mixed);
}

std::uint64_t Random::bits() {
  auto& s = state_;
  const std::uint64_t result = std::rotl(s[0] + s[3], 23) + s[0];
  const std::uint64_t t = s[1] << 17;
  s[2] ^= s[0];
  s[3] ^= s[1];
  s[1] ^= s[2];
  s[0] ^= s[3];
  s[2] ^= t;
  s[3] = std::rotl(s[3], 45);
  return result;
}

double Random::uniform() { return (static_cast<double>(bits() >> 12) + 0.5) * 0x1p-52; }

double Random::normal() { return normal_quantile(uniform()); }

double normal_quantile(double p) {
  const double q = p - 0.5;
  if (std::abs(q) <= 0.425) return q * ratio(centre_top, centre_bottom, 0.180625 - q * q);
  const double tail = std::sqrt(-portable::log(q < 0 ? p : 1 - p));
  const double x =
      tail <= 5 ? ratio(near_top, near_bottom, tail - 1.6) : ratio(far_top, far_bottom, tail - 5);
  return q < 0 ? -x : x;
}

}  // namespace tachproof
