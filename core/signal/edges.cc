#include "core/signal/edges.h"

#include <algorithm>
#include <bit>
#include <cmath>

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

#if TACHPROOF_X86_DISPATCH
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

}  // namespace tachproof
