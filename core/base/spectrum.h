// Power spectra of evenly spaced values.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace tachproof {

// Amplitudes of sines at 0, 1/n, 2/n, ... 1/2 cycles per value, n = `length`, a
// power of two of at least 4: the root of the mean square over half-overlapping
// stretches, each without its mean and through a Hann window (P. D. Welch, IEEE
// Trans. Audio Electroacoust. 15 (1967) 70). A sine of amplitude a in the middle
// of a line shows as a. Empty when there are fewer than `length` values.
std::vector<double> amplitude_spectrum(std::span<const double> values, std::size_t length);

}  // namespace tachproof
