#include "core/flicker/normal_lanes.h"

#include <bit>
#include <cmath>

#include "core/base/random.h"
#include "core/base/vector_width.h"

namespace tachproof {
namespace {

constexpr std::size_t lanes = NormalLanes::lanes;

[[gnu::always_inline]] inline std::uint32_t next(NormalLanes::State& s, std::size_t lane) {
  const std::uint32_t sum = s[0][lane] + s[3][lane];
  const std::uint32_t result = ((sum << 7) | (sum >> 25)) + s[0][lane];
  const std::uint32_t t = s[1][lane] << 9;
  s[2][lane] ^= s[0][lane];
  s[3][lane] ^= s[1][lane];
  s[1][lane] ^= s[2][lane];
  s[0][lane] ^= s[3][lane];
  s[2][lane] ^= t;
  s[3][lane] = (s[3][lane] << 11) | (s[3][lane] >> 21);
  return result;
}

// ln(u) for 0 < u <= 1, normal: u = m 2^k with m near 1, ln m by the series of
// atanh at s = (m - 1) / (m + 1), |s| < 0.172.
[[gnu::always_inline]] inline float log_of(float u) {
  constexpr std::uint32_t root_half = 0x3f3504f3;
  const std::uint32_t bits = std::bit_cast<std::uint32_t>(u) - root_half;
  const auto k = static_cast<float>(static_cast<std::int32_t>(bits) >> 23);
  const float m = std::bit_cast<float>((bits & 0x007fffff) + root_half);
  const float s = (m - 1) / (m + 1);
  const float ss = s * s;
  const float series = 2 + ss * (2.0f / 3 + ss * (2.0f / 5 + ss * (2.0f / 7 + ss * (2.0f / 9))));
  return k * 0.693147181f + s * series;
}

[[gnu::always_inline]] inline void fill_loop(NormalLanes::State& state, float* out, std::size_t pairs) {
  NormalLanes::State s = state;
  for (std::size_t pair = 0; pair < pairs; ++pair, out += 2 * lanes)
    for (std::size_t lane = 0; lane < lanes; ++lane) {
      const std::uint32_t a = next(s, lane);
      const std::uint32_t b = next(s, lane);
      // Signed: the only conversion that every vector unit has.
      const float u = (static_cast<float>(static_cast<std::int32_t>(a >> 1)) + 0.5f) * 0x1p-31f;
      const float square = -2 * log_of(u);
      const float radius = std::sqrt(square > 0 ? square : 0);
      // The angle: its quadrant, and the rest within an eighth of a turn.
      const std::uint32_t quadrant = (b + 0x20000000u) >> 30;
      const auto rest = static_cast<std::int32_t>(b - (quadrant << 30));
      const float z = static_cast<float>(rest) * (6.28318531f * 0x1p-32f);
      const float zz = z * z;
      const float sine =
          z * (1 + zz * (-1.0f / 6 + zz * (1.0f / 120 + zz * (-1.0f / 5040 + zz * (1.0f / 362880)))));
      const float cosine = 1 + zz * (-0.5f + zz * (1.0f / 24 + zz * (-1.0f / 720 + zz * (1.0f / 40320))));
      const bool swap = (quadrant & 1) != 0;
      const std::uint32_t cosine_sign = ((quadrant + 1) & 2) << 30;
      const std::uint32_t sine_sign = (quadrant & 2) << 30;
      const float along = swap ? sine : cosine;
      const float across = swap ? cosine : sine;
      out[lane] = radius * std::bit_cast<float>(std::bit_cast<std::uint32_t>(along) ^ cosine_sign);
      out[lanes + lane] = radius * std::bit_cast<float>(std::bit_cast<std::uint32_t>(across) ^ sine_sign);
    }
  state = s;
}

#if defined(__x86_64__) && defined(__GNUC__)
[[gnu::target("avx2")]] void fill_avx2(NormalLanes::State& state, float* out, std::size_t pairs) {
  fill_loop(state, out, pairs);
}
[[gnu::target("avx512f" TACHPROOF_WIDEST_VECTORS)]] void fill_avx512(NormalLanes::State& state, float* out,
                                                                     std::size_t pairs) {
  fill_loop(state, out, pairs);
}
#endif

}  // namespace

NormalLanes::NormalLanes(std::uint64_t seed, std::uint64_t stream, Instructions with) : with_(with) {
  Random random(seed, stream);
  for (auto& row : state_)
    for (std::uint32_t& word : row) word = static_cast<std::uint32_t>(random.bits() >> 32);
}

void NormalLanes::fill(std::span<float> out) {
  const std::size_t pairs = out.size() / (2 * lanes);
#if defined(__x86_64__) && defined(__GNUC__)
  if (with_ == Instructions::avx512) return fill_avx512(state_, out.data(), pairs);
  if (with_ == Instructions::avx2) return fill_avx2(state_, out.data(), pairs);
#endif
  fill_loop(state_, out.data(), pairs);
}

}  // namespace tachproof
