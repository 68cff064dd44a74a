#include "core/signal/edges.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>

#include "core/base/vector_width.h"

#if defined(__x86_64__) && defined(__GNUC__)
#define TACHPROOF_X86_DISPATCH 1
#else
#define TACHPROOF_X86_DISPATCH 0
#endif

namespace tachproof {
namespace {

// Adding 1.5 * 2^52 leaves the nearest whole number in the low bits of the
// sum: a conversion that every vector unit has. Good for |x| < 2^51.
constexpr double to_low_bits = 0x1.8p52;

[[gnu::always_inline]] inline Nanos whole_part_bits(double x) {
  return std::bit_cast<Nanos>(x + to_low_bits);
}

[[gnu::always_inline]] inline void constant_loop(const Instant& first, double period_ns, Nanos* out, int n) {
  const Nanos base = first.whole - std::bit_cast<Nanos>(to_low_bits);
  const double frac = first.frac_ns;
  for (int m = 0; m < n; ++m) out[m] = base + whole_part_bits(frac + m * period_ns);
}

[[gnu::always_inline]] inline void ramp_loop(const Instant& slow, double hz, double hz_per_s, bool rising,
                                             Nanos* out, int n) {
  const Nanos base = slow.whole - std::bit_cast<Nanos>(to_low_bits);
  const double frac = slow.frac_ns;
  const double square = hz * hz;
  const double twice = 2 * hz_per_s;
  const double sign_ns = rising ? 2e9 : -2e9;
  const int first = rising ? 0 : n - 1;
  const int direction = rising ? 1 : -1;
  for (int m = 0; m < n; ++m) {
    const double i = first + direction * m;
    out[m] = base + whole_part_bits(frac + sign_ns * i / (hz + std::sqrt(square + twice * i)));
  }
}

[[gnu::always_inline]] inline double either(std::uint64_t mask, double if_set, double if_not) {
  return std::bit_cast<double>((std::bit_cast<std::uint64_t>(if_set) & mask) |
                               (std::bit_cast<std::uint64_t>(if_not) & ~mask));
}
[[gnu::always_inline]] inline double with_sign(double x, std::uint64_t sign) {
  return std::bit_cast<double>(std::bit_cast<std::uint64_t>(x) ^ sign);
}

// portable::sine_cosine_of_turns without a branch, for turns below 2^50.
struct SineCosine {
  double sine, cosine;
};
[[gnu::always_inline]] inline SineCosine sine_cosine(double turns) {
  constexpr double two_pi = 6.283185307179586476925;
  const double shifted = 4 * turns + to_low_bits;
  const auto quarter = std::bit_cast<std::uint64_t>(shifted);
  const double z = (turns - (shifted - to_low_bits) / 4) * two_pi;
  const double zz = z * z;
  double sine = 1.0 / 355687428096000, cosine = 1.0 / 20922789888000;
  sine = sine * zz - 1.0 / 1307674368000, cosine = cosine * zz - 1.0 / 87178291200;
  sine = sine * zz + 1.0 / 6227020800, cosine = cosine * zz + 1.0 / 479001600;
  sine = sine * zz - 1.0 / 39916800, cosine = cosine * zz - 1.0 / 3628800;
  sine = sine * zz + 1.0 / 362880, cosine = cosine * zz + 1.0 / 40320;
  sine = sine * zz - 1.0 / 5040, cosine = cosine * zz - 1.0 / 720;
  sine = sine * zz + 1.0 / 120, cosine = cosine * zz + 1.0 / 24;
  sine = sine * zz - 1.0 / 6, cosine = cosine * zz - 1.0 / 2;
  sine = (sine * zz + 1) * z, cosine = cosine * zz + 1;
  const std::uint64_t swapped = -(quarter & 1);
  return {with_sign(either(swapped, cosine, sine), (quarter & 2) << 62),
          with_sign(either(swapped, sine, cosine), ((quarter + 1) & 2) << 62)};
}

[[gnu::always_inline]] inline bool sine_loop(const SineStretch& sine, const Instant& start, double phase,
                                             double* near_s, Nanos* out, int n) {
  constexpr double pi = 3.14159265358979323846;
  const Nanos base = start.whole - std::bit_cast<Nanos>(to_low_bits);
  const double frac = start.frac_ns;
  const double mean = sine.mean_hz, swing = sine.swing_hz, lasts = sine.lasts_s;
  const double swung = swing * sine.period_s / (2 * pi), grows = swing * 2 * pi / sine.period_s;
  const double half_turns = 0.5 / sine.period_s;
  const double most = 1e-7 * sine.period_s;
  std::int64_t far = 0;
  for (int m = 0; m < n; ++m) {
    const double s = near_s[m];
    // In half angles: 1 - cos keeps its digits where it is small.
    const SineCosine half = sine_cosine(s * half_turns);
    const double one_minus_cos = 2 * half.sine * half.sine;
    const double missing = phase + m - (mean * s + swung * one_minus_cos);
    const double hz = mean + swing * 2 * half.sine * half.cosine;
    const double square = hz * hz + 2 * grows * (1 - one_minus_cos) * missing;
    const double step = 2 * missing / (hz + std::sqrt(square > 0 ? square : 0));
    // Not so for what is no number, as at a standstill.
    far += std::fabs(step) < most ? 0 : 1;
    const double there = s + step;
    const double inside = there < lasts ? there : lasts;
    near_s[m] = inside;
    out[m] = base + whole_part_bits(frac + inside * 1e9);
  }
  return far == 0;
}

#if TACHPROOF_X86_DISPATCH
[[gnu::target("avx2")]] bool sine_avx2(const SineStretch& sine, const Instant& start, double phase,
                                       double* near_s, Nanos* out, int n) {
  return sine_loop(sine, start, phase, near_s, out, n);
}
[[gnu::target("avx512f" TACHPROOF_WIDEST_VECTORS)]] bool sine_avx512(const SineStretch& sine,
                                                                     const Instant& start, double phase,
                                                                     double* near_s, Nanos* out, int n) {
  return sine_loop(sine, start, phase, near_s, out, n);
}
[[gnu::target("avx2")]] void constant_avx2(const Instant& first, double period_ns, Nanos* out, int n) {
  constant_loop(first, period_ns, out, n);
}
[[gnu::target("avx512f" TACHPROOF_WIDEST_VECTORS)]] void constant_avx512(const Instant& first,
                                                                         double period_ns, Nanos* out,
                                                                         int n) {
  constant_loop(first, period_ns, out, n);
}
[[gnu::target("avx2")]] void ramp_avx2(const Instant& slow, double hz, double hz_per_s, bool rising,
                                       Nanos* out, int n) {
  ramp_loop(slow, hz, hz_per_s, rising, out, n);
}
[[gnu::target("avx512f" TACHPROOF_WIDEST_VECTORS)]] void ramp_avx512(const Instant& slow, double hz,
                                                                     double hz_per_s, bool rising, Nanos* out,
                                                                     int n) {
  ramp_loop(slow, hz, hz_per_s, rising, out, n);
}
#endif

}  // namespace

bool available(Instructions set) {
#if TACHPROOF_X86_DISPATCH
  if (set == Instructions::avx512) return __builtin_cpu_supports("avx512f");
  if (set == Instructions::avx2) return __builtin_cpu_supports("avx2");
#endif
  return set == Instructions::baseline;
}

Instructions best_instructions() {
  if (available(Instructions::avx512)) return Instructions::avx512;
  if (available(Instructions::avx2)) return Instructions::avx2;
  return Instructions::baseline;
}

void constant_edges(const Instant& first, double period_ns, std::span<Nanos> out, Instructions with) {
  const int n = static_cast<int>(out.size());
#if TACHPROOF_X86_DISPATCH
  if (with == Instructions::avx512) return constant_avx512(first, period_ns, out.data(), n);
  if (with == Instructions::avx2) return constant_avx2(first, period_ns, out.data(), n);
#endif
  constant_loop(first, period_ns, out.data(), n);
}

void ramp_edges(const Instant& slow, double hz, double hz_per_s, bool rising, std::span<Nanos> out,
                Instructions with) {
  const int n = static_cast<int>(out.size());
  // Edge 0 of a ramp from a standstill: 0/0 without this.
  hz = std::max(hz, 1e-150);
#if TACHPROOF_X86_DISPATCH
  if (with == Instructions::avx512) return ramp_avx512(slow, hz, hz_per_s, rising, out.data(), n);
  if (with == Instructions::avx2) return ramp_avx2(slow, hz, hz_per_s, rising, out.data(), n);
#endif
  ramp_loop(slow, hz, hz_per_s, rising, out.data(), n);
}

bool sine_edges(const SineStretch& sine, const Instant& start, double phase, std::span<double> near_s,
                std::span<Nanos> out, Instructions with) {
  const int n = static_cast<int>(out.size());
#if TACHPROOF_X86_DISPATCH
  if (with == Instructions::avx512) return sine_avx512(sine, start, phase, near_s.data(), out.data(), n);
  if (with == Instructions::avx2) return sine_avx2(sine, start, phase, near_s.data(), out.data(), n);
#endif
  return sine_loop(sine, start, phase, near_s.data(), out.data(), n);
}

}  // namespace tachproof
