#include "core/base/spectrum.h"

#include <cmath>
#include <complex>
#include <numbers>

namespace tachproof {
namespace {

using Complex = std::complex<double>;

// J. W. Cooley, J. W. Tukey, Math. Comp. 19 (1965) 297, in place.
void transform(std::vector<Complex>& x) {
  const std::size_t n = x.size();
  for (std::size_t i = 1, j = 0; i < n; ++i) {
    std::size_t bit = n / 2;
    for (; (j & bit) != 0; bit /= 2) j ^= bit;
    j ^= bit;
    if (i < j) std::swap(x[i], x[j]);
  }
  for (std::size_t span = 2; span <= n; span *= 2) {
    const Complex turn = std::polar(1.0, -2 * std::numbers::pi / static_cast<double>(span));
    for (std::size_t start = 0; start < n; start += span) {
      Complex factor = 1;
      for (std::size_t k = 0; k < span / 2; ++k, factor *= turn) {
        const Complex even = x[start + k], odd = factor * x[start + k + span / 2];
        x[start + k] = even + odd;
        x[start + k + span / 2] = even - odd;
      }
    }
  }
}

}  // namespace

std::vector<double> amplitude_spectrum(std::span<const double> values, std::size_t length) {
  if (values.size() < length || length < 4) return {};
  std::vector<double> squares(length / 2 + 1, 0.0);
  std::size_t stretches = 0;
  const auto n = static_cast<double>(length);
  for (std::size_t start = 0; start + length <= values.size(); start += length / 2, ++stretches) {
    double mean = 0;
    for (std::size_t i = 0; i < length; ++i) mean += values[start + i] / n;
    std::vector<Complex> x(length);
    for (std::size_t i = 0; i < length; ++i)
      x[i] = (values[start + i] - mean) *
             (0.5 - 0.5 * std::cos(2 * std::numbers::pi * static_cast<double>(i) / n));
    transform(x);
    for (std::size_t k = 0; k < squares.size(); ++k) squares[k] += std::norm(x[k]);
  }
  // The window lets half of an amplitude through, and a sine shares its own
  // with its mirror image, save at the ends.
  std::vector<double> amplitudes;
  for (std::size_t k = 0; k < squares.size(); ++k) {
    const double sides = k == 0 || k == length / 2 ? 1 : 2;
    amplitudes.push_back(sides * 2 / n * std::sqrt(squares[k] / static_cast<double>(stretches)));
  }
  return amplitudes;
}

}  // namespace tachproof
