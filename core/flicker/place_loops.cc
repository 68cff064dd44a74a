#include "core/flicker/place_loops.h"

#include <bit>

#include "core/base/vector_width.h"

namespace tachproof::flicker {
namespace {

// The wander of one block, averaged as a reading averages it, into `speeds`: its
// first half is the block before, of which the end is still averaged over.
[[gnu::always_inline]] inline void wander_loop(PlaceLoop& place, const float* fresh, float* speeds,
                                               float* averages) {
  alignas(64) std::array<float, lanes> wander = place.wander;
  alignas(64) std::array<float, lanes> sum{};
  const float kept = place.kept, renewed = place.fresh, per_pulse = place.per_pulse;
  float* const now = speeds + block_size;
  const std::size_t back = place.averaged * lanes;
  for (std::size_t k = lanes; k <= back; k += lanes)
    for (std::size_t l = 0; l < lanes; ++l) sum[l] += now[l - k];
  for (std::size_t i = 0; i < block_size; i += lanes)
    for (std::size_t l = 0; l < lanes; ++l) {
      wander[l] = kept * wander[l] + renewed * fresh[i + l];
      now[i + l] = wander[l];
      sum[l] = sum[l] + (wander[l] - now[i + l - back]);
      averages[i + l] = sum[l] * per_pulse;
    }
  place.wander = wander;
}

// The level number of a reading that is x rpm off by its edges and the wander.
// Relative to the mean a period is 1 - x / rpm long, so the speed is off by
// x / (1 - x / rpm).
struct ToLevel {
  explicit ToLevel(const PlaceLoop& place)
      : per_rpm(place.per_rpm), per_step(place.per_step), middle(place.middle), most(place.most) {}
  [[gnu::always_inline]] std::uint16_t operator()(float x) const {
    const float level = x / (1 - x * per_rpm) * per_step + middle;
    const float inside = level > 0 ? (level < most ? level : most) : 0;
    return static_cast<std::uint16_t>(static_cast<std::int32_t>(inside));
  }
  float per_rpm, per_step, middle, most;
};

// One block's readings as level numbers: `averages` of the wander.
template <bool fires, bool wanders>
[[gnu::always_inline]] inline void levels_loop(PlaceLoop& place, EdgePair edges, const float* averages,
                                               std::uint16_t* __restrict out) {
  const ToLevel level_of(place);
  const float gain = place.edge_gain;
  const std::size_t cycle = place.pattern.size();
  const float* const pattern = place.pattern.data();
  std::size_t row = place.pulse * lanes;
  for (std::size_t i = 0; i < block_size; i += lanes) {
    for (std::size_t l = 0; l < lanes; ++l) {
      float x = gain * (edges.now[i + l] - edges.before[i + l]);
      if constexpr (fires) x += pattern[row + l];
      if constexpr (wanders) x += averages[i + l];
      out[i + l] = level_of(x);
    }
    if constexpr (fires) row = row + lanes == cycle ? 0 : row + lanes;
  }
  place.pulse = row / lanes;
}

[[gnu::always_inline]] inline void levels_either(PlaceLoop& place, EdgePair edges, const float* fresh,
                                                 float* speeds, std::uint16_t* out) {
  const bool fires = !place.pattern.empty();
  if (!place.wanders)
    return fires ? levels_loop<true, false>(place, edges, nullptr, out)
                 : levels_loop<false, false>(place, edges, nullptr, out);
  alignas(64) float averages[block_size];
  wander_loop(place, fresh, speeds, averages);
  fires ? levels_loop<true, true>(place, edges, averages, out)
        : levels_loop<false, true>(place, edges, averages, out);
}

[[gnu::always_inline]] inline void some_levels(const PlaceLoop& place, const float* differences,
                                               std::size_t count, std::uint16_t* __restrict out) {
  const ToLevel level_of(place);
  const float gain = place.edge_gain;
  for (std::size_t i = 0; i < count; ++i) out[i] = level_of(gain * differences[i]);
}

// `is_far` is all ones, as a vector's comparison is, or 0. Lanes outermost, so that words stay in registers;
// the last step first, so that it ends highest.
template <class IsFar>
[[gnu::always_inline]] inline void far_loop(FarSteps& out, const IsFar& is_far) {
  for (std::size_t w = 0; w < 2 * out.size(); ++w) {
    alignas(64) std::array<std::uint32_t, lanes> words;
    for (std::size_t l = 0; l < lanes; ++l) {
      std::uint32_t word = 0;
#pragma GCC unroll 4
      for (std::size_t s = 0; s < 32; ++s) word = word + word - is_far((32 * w + 31 - s) * lanes + l);
      words[l] = word;
    }
    out[w / 2][w % 2] = words;
  }
}

[[gnu::always_inline]] inline void outside_loop(const std::uint16_t* levels, std::uint16_t from,
                                                std::uint16_t to, FarSteps& out) {
  far_loop(out, [=](std::size_t i) {
    return static_cast<std::uint32_t>(((levels[i] - from) | (to - levels[i])) >> 31);
  });
}

// Floats are ordered as the whole numbers of their bits.
[[gnu::always_inline]] inline void far_edges_loop(EdgePair edges, float quiet, FarSteps& out) {
  const auto bound = std::bit_cast<std::int32_t>(quiet);
  far_loop(out, [=](std::size_t i) {
    const std::int32_t off = std::bit_cast<std::int32_t>(edges.now[i] - edges.before[i]) & 0x7fffffff;
    return off > bound ? ~std::uint32_t{0} : 0;
  });
}

#if defined(__x86_64__) && defined(__GNUC__)
[[gnu::target("avx2")]] void levels_avx2(PlaceLoop& place, EdgePair edges, const float* fresh, float* speeds,
                                         std::uint16_t* out) {
  levels_either(place, edges, fresh, speeds, out);
}
[[gnu::target("avx512f,avx512bw" TACHPROOF_WIDEST_VECTORS)]] void levels_avx512(
    PlaceLoop& place, EdgePair edges, const float* fresh, float* speeds, std::uint16_t* out) {
  levels_either(place, edges, fresh, speeds, out);
}
[[gnu::target("avx2")]] void some_levels_avx2(const PlaceLoop& place, const float* differences,
                                              std::size_t count, std::uint16_t* out) {
  some_levels(place, differences, count, out);
}
[[gnu::target("avx2")]] void outside_avx2(const std::uint16_t* levels, std::uint16_t from, std::uint16_t to,
                                          FarSteps& out) {
  outside_loop(levels, from, to, out);
}
[[gnu::target("avx2")]] void far_edges_avx2(EdgePair edges, float quiet, FarSteps& out) {
  far_edges_loop(edges, quiet, out);
}
[[gnu::target("avx512f" TACHPROOF_WIDEST_VECTORS)]] void far_edges_avx512(EdgePair edges, float quiet,
                                                                          FarSteps& out) {
  far_edges_loop(edges, quiet, out);
}
#endif

}  // namespace

void levels_of(PlaceLoop& place, EdgePair edges, const float* fresh, float* speeds, std::uint16_t* out,
               Instructions with) {
#if defined(__x86_64__) && defined(__GNUC__)
  if (with == Instructions::avx512 && __builtin_cpu_supports("avx512bw"))
    return levels_avx512(place, edges, fresh, speeds, out);
  if (with != Instructions::baseline) return levels_avx2(place, edges, fresh, speeds, out);
#endif
  levels_either(place, edges, fresh, speeds, out);
}

void levels_of_some(const PlaceLoop& place, const float* differences, std::size_t count, std::uint16_t* out,
                    Instructions with) {
#if defined(__x86_64__) && defined(__GNUC__)
  if (with != Instructions::baseline) return some_levels_avx2(place, differences, count, out);
#endif
  some_levels(place, differences, count, out);
}

void outside_of(const std::uint16_t* levels, std::uint16_t from, std::uint16_t to, FarSteps& out,
                Instructions with) {
#if defined(__x86_64__) && defined(__GNUC__)
  if (with != Instructions::baseline) return outside_avx2(levels, from, to, out);
#endif
  outside_loop(levels, from, to, out);
}

void far_edges_of(EdgePair edges, float quiet, FarSteps& out, Instructions with) {
#if defined(__x86_64__) && defined(__GNUC__)
  if (with == Instructions::avx512) return far_edges_avx512(edges, quiet, out);
  if (with != Instructions::baseline) return far_edges_avx2(edges, quiet, out);
#endif
  far_edges_loop(edges, quiet, out);
}

}  // namespace tachproof::flicker
