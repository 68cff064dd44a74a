#include "core/flicker/place_loops.h"

#include <bit>

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

// One block's readings as level numbers: `edges` are the edge differences over
// the averaged pulses, `averages` the wander.
template <bool wanders>
[[gnu::always_inline]] inline void levels_loop(const PlaceLoop& place, const float* edges,
                                               const float* averages, std::uint16_t* __restrict out) {
  const PlaceLoop by_value = place;
  for (std::size_t i = 0; i < block_size; ++i) {
    float x = by_value.edge_gain * edges[i];
    if constexpr (wanders) x += averages[i];
    out[i] = level_of(by_value, x);
  }
}

[[gnu::always_inline]] inline void levels_either(PlaceLoop& place, const float* edges, const float* fresh,
                                                 float* speeds, std::uint16_t* out) {
  if (!place.wanders) return levels_loop<false>(place, edges, nullptr, out);
  alignas(64) float averages[block_size];
  wander_loop(place, fresh, speeds, averages);
  levels_loop<true>(place, edges, averages, out);
}

// out[i]: 1 when reading i lies outside from..to, else 0.
[[gnu::always_inline]] inline void outside_loop(const std::uint16_t* levels, std::uint16_t from,
                                                std::uint16_t to, std::uint8_t* __restrict out) {
  const auto span = static_cast<std::uint16_t>(to - from);
  for (std::size_t i = 0; i < block_size; ++i)
    out[i] = static_cast<std::uint16_t>(levels[i] - from) > span ? 1 : 0;
}

// The same of edge differences further from 0 than `quiet`. Floats are ordered
// as the whole numbers of their bits.
[[gnu::always_inline]] inline void far_edges_loop(const float* edges, float quiet,
                                                  std::uint8_t* __restrict out) {
  const auto bound = std::bit_cast<std::int32_t>(quiet);
  for (std::size_t i = 0; i < block_size; ++i)
    out[i] = (std::bit_cast<std::int32_t>(edges[i]) & 0x7fffffff) > bound ? 1 : 0;
}

#if defined(__x86_64__) && defined(__GNUC__)
[[gnu::target("avx2")]] void levels_avx2(PlaceLoop& place, const float* edges, const float* fresh,
                                         float* speeds, std::uint16_t* out) {
  levels_either(place, edges, fresh, speeds, out);
}
[[gnu::target("avx512f,avx512bw,prefer-vector-width=512")]] void levels_avx512(
    PlaceLoop& place, const float* edges, const float* fresh, float* speeds, std::uint16_t* out) {
  levels_either(place, edges, fresh, speeds, out);
}
[[gnu::target("avx2")]] void outside_avx2(const std::uint16_t* levels, std::uint16_t from, std::uint16_t to,
                                          std::uint8_t* out) {
  outside_loop(levels, from, to, out);
}
[[gnu::target("avx2")]] void far_edges_avx2(const float* edges, float quiet, std::uint8_t* out) {
  far_edges_loop(edges, quiet, out);
}
#endif

}  // namespace

void levels_of(PlaceLoop& place, const float* edges, const float* fresh, float* speeds, std::uint16_t* out,
               Instructions with) {
#if defined(__x86_64__) && defined(__GNUC__)
  if (with == Instructions::avx512 && __builtin_cpu_supports("avx512bw"))
    return levels_avx512(place, edges, fresh, speeds, out);
  if (with != Instructions::baseline) return levels_avx2(place, edges, fresh, speeds, out);
#endif
  levels_either(place, edges, fresh, speeds, out);
}

void outside_of(const std::uint16_t* levels, std::uint16_t from, std::uint16_t to, std::uint8_t* out,
                Instructions with) {
#if defined(__x86_64__) && defined(__GNUC__)
  if (with != Instructions::baseline) return outside_avx2(levels, from, to, out);
#endif
  outside_loop(levels, from, to, out);
}

void far_edges_of(const float* edges, float quiet, std::uint8_t* out, Instructions with) {
#if defined(__x86_64__) && defined(__GNUC__)
  if (with != Instructions::baseline) return far_edges_avx2(edges, quiet, out);
#endif
  far_edges_loop(edges, quiet, out);
}

}  // namespace tachproof::flicker
