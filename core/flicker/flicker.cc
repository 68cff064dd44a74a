#include "core/flicker/flicker.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <numeric>

#include "core/base/portable_math.h"
#include "core/base/random.h"
#include "core/base/vector_width.h"
#include "core/flicker/flicker_reading.h"
#include "core/flicker/normal_lanes.h"
#include "core/flicker/rainflow.h"

namespace tachproof {
namespace {

using namespace flicker;

constexpr std::size_t lanes = NormalLanes::lanes;
constexpr std::size_t block = 128;  // steps; no reading averages over more
constexpr std::size_t block_size = block * lanes;
static_assert(UnitReading::most_averaged <= static_cast<int>(block));

// What the vector loop needs to know of a place, in rpm, and what it keeps.
struct PlaceLoop {
  float edge_gain = 0;  // a reading's rpm for one unit of edge difference
  float kept = 0;       // of the wander from pulse to pulse
  float fresh = 0;      // new wander, rpm
  float per_pulse = 1;  // 1 / averaged
  float per_rpm = 0;    // 1 / the place's rpm
  float per_step = 0;   // 1 / level spacing
  float middle = 0;     // level number of the mean, half a level up for rounding
  float most = 0;       // highest level number
  std::size_t averaged = 1;
  bool wanders = false;
  alignas(64) std::array<float, lanes> wander{};
};

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
[[gnu::always_inline]] inline std::uint16_t level_of(const PlaceLoop& place, float x) {
  const float level = x / (1 - x * place.per_rpm) * place.per_step + place.middle;
  const float inside = level > 0 ? (level < place.most ? level : place.most) : 0;
  return static_cast<std::uint16_t>(static_cast<std::int32_t>(inside));
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
[[gnu::target("avx512f,avx512bw" TACHPROOF_WIDEST_VECTORS)]] void levels_avx512(
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

// The noise that all places share: edge deviations, by unit of jitter or as
// recorded, and the normals of the wander.
class SharedNoise {
 public:
  SharedNoise(const FlickerSetup& setup, std::uint64_t chunk, Instructions with)
      : replay_(setup.noise.replay),
        normals_(setup.seed, chunk, with),
        averaged_(averaged(setup.unit)),
        segment_(setup.steps),
        has_wander_(replay_.empty() && setup.noise.wander_rpm > 0) {
    next_block();
  }

  void next_block() {
    std::copy(edges_.begin() + block_size, edges_.end(), edges_.begin());
    const std::span<float> fresh(edges_.data() + block_size, block_size);
    if (replay_.empty()) {
      normals_.fill(fresh);
    } else {
      replay(fresh);
    }
    if (has_wander_) normals_.fill(wander_);
    const std::size_t back = averaged_ * lanes;
    for (std::size_t i = 0; i < block_size; ++i) differences_[i] = fresh[i] - edges_[block_size + i - back];
  }

  const float* differences() const { return differences_.data(); }  // over the averaged pulses
  const float* wander() const { return wander_.data(); }

 private:
  // Each lane starts one segment further on in the ring; a block early, as the
  // first block only fills the past.
  void replay(std::span<float> out) {
    const std::size_t ring = replay_.size();
    for (std::size_t step = 0; step < block; ++step)
      for (std::size_t l = 0; l < lanes; ++l)
        out[step * lanes + l] = static_cast<float>(replay_[(at_ + step + l * segment_ + ring) % ring]);
    at_ += block;
  }

  const std::vector<double>& replay_;
  NormalLanes normals_;
  std::size_t averaged_;
  std::size_t segment_;
  bool has_wander_;
  std::size_t at_ = 0;
  std::vector<float> edges_ = std::vector<float>(2 * block_size, 0.0f);
  std::vector<float> differences_ = std::vector<float>(block_size, 0.0f);
  std::vector<float> wander_ = std::vector<float>(block_size, 0.0f);
};

// One boundary's rpm: its readings, and each train's cycles.
class Place {
 public:
  Place(const FlickerSetup& setup, double rpm, std::size_t phase, const FlickerTally& tally,
        std::uint64_t phase_seed)
      : setup_(setup), hz_(pulses_per_s(setup.pulses_per_rev, rpm)), speeds_(2 * block_size, 0.0f) {
    const bool replayed = !setup.noise.replay.empty();
    const double edge_rpm = rpm_per_edge_s(setup.unit, setup.pulses_per_rev, rpm);
    const auto pulses = static_cast<double>(averaged(setup.unit));
    loop_.averaged = averaged(setup.unit);
    loop_.edge_gain =
        static_cast<float>(replayed ? -rpm / pulses : -edge_rpm * jitter_s(setup.noise, setup.unit));
    loop_.per_pulse = static_cast<float>(1 / pulses);
    loop_.per_rpm = static_cast<float>(1 / rpm);
    loop_.per_step = static_cast<float>(1 / setup.step_rpm);
    loop_.middle = static_cast<float>(tally.half() + 1);
    loop_.most = static_cast<float>(tally.levels());
    loop_.wanders = !replayed && setup.noise.wander_rpm > 0;
    if (loop_.wanders) {
      const double kept = portable::exp(-std::min(1 / (hz_ * setup.noise.wander_s), 600.0));
      loop_.kept = static_cast<float>(kept);
      // Of the kept share as rounded, so that the wander is as wide as asked for.
      fresh_per_normal_ = static_cast<float>(setup.noise.wander_rpm *
                                             std::sqrt(1 - static_cast<double>(loop_.kept) * loop_.kept));
      loop_.fresh = static_cast<float>(setup.noise.wander_rpm);  // its first value is stationary
    }
    Random random(setup.seed, phase_seed);
    const FlickerPhases phases = flicker_phases(setup, rpm);
    const bool in_step = phases.count > 1;
    spacing_ = phases.spacing;
    next_reading_ = spacing_ * random.uniform();
    if (in_step) {
      const std::size_t ways = phases.count / 2;
      upon_pulses_ = phase >= ways;
      const double way = static_cast<double>(phase % ways) + (upon_pulses_ ? 1 : 0.5);
      next_reading_ = way / static_cast<double>(phases.per_pulse);
      coin_ = random;
    }
    if (!replayed && !setup.noise.firing.empty()) {
      const auto& firing = setup.noise.firing;
      // A phase is the same in all chunks.
      const std::size_t from = in_step ? 0 : random.bits() % firing.size();
      for (std::size_t i = 0; i < firing.size(); ++i) {
        const std::size_t now = (from + i) % firing.size();
        const std::size_t then = (now + firing.size() - loop_.averaged % firing.size()) % firing.size();
        pattern_.push_back(static_cast<float>(-rpm / pulses * (firing[now] - firing[then]) / 100));
      }
    }
    // Levels inside can be neither a low threshold nor a high one that is asked for.
    const double quiet = setup.narrowest_rpm / 2 - setup.reach_rpm;
    if (quiet > setup.step_rpm) {
      const auto q = static_cast<std::size_t>(quiet / setup.step_rpm);
      const std::size_t middle = tally.half() + 1;
      if (q < middle) {
        quiet_from_ = static_cast<std::uint16_t>(middle - q);
        quiet_to_ = static_cast<std::uint16_t>(middle + q - 1);
        find_quiet_edge(rpm, setup.step_rpm * static_cast<double>(q));
      }
    }
    const auto highest = static_cast<std::uint32_t>(tally.levels());
    // What a trigger was before the train began is not known: half were on.
    for (std::size_t l = 0; l < lanes; ++l) trains_.emplace_back(highest, l % 2 == 0 ? 0 : highest);
  }

  void block_of(const SharedNoise& noise, bool counted, std::size_t steps, Instructions with) {
    if (loop_.wanders) std::copy(speeds_.begin() + block_size, speeds_.end(), speeds_.begin());
    const float* edges = noise.differences();
    if (!pattern_.empty()) {
      with_pattern_.assign(edges, edges + block_size);
      // Into the same units as the edges, which may be no noise at all.
      for (std::size_t step = 0; step < block; ++step, ++pulse_) {
        const float x = pattern_[pulse_ % pattern_.size()];
        for (std::size_t l = 0; l < lanes; ++l)
          with_pattern_[step * lanes + l] = with_pattern_[step * lanes + l] * loop_.edge_gain + x;
      }
      edges = with_pattern_.data();
      std::swap(loop_.edge_gain, one_);
    }
    const bool by_edges = quiet_edge_ > 0;
    if (!by_edges) levels_of(loop_, edges, noise.wander(), speeds_.data(), levels_.data(), with);
    if (!pattern_.empty()) std::swap(loop_.edge_gain, one_);
    loop_.fresh = fresh_per_normal_;
    if (!counted) return;
    const bool sifted = quiet_to_ > quiet_from_;
    if (by_edges)
      far_edges_of(edges, quiet_edge_, outside_.data(), with);
    else if (sifted)
      outside_of(levels_.data(), quiet_from_, quiet_to_, outside_.data(), with);
    const auto take_step = [&](std::size_t step) {
      if (!sifted) return take(step);
      for_each_outside(step, [&](std::size_t l) {
        const std::size_t i = step * lanes + l;
        if (!by_edges) return trains_[l].add(levels_[i]);
        // Found by a bound that is a little too narrow.
        const std::uint16_t level = level_of(loop_, loop_.edge_gain * edges[i]);
        if (level < quiet_from_ || level > quiet_to_) trains_[l].add(level);
      });
    };
    if (spacing_ == 1) {
      for (std::size_t step = 0; step < steps; ++step) take_step(step);
      return;
    }
    constexpr double upon = 1e-6;  // pulses
    for (; next_reading_ < static_cast<double>(steps) - upon; next_reading_ += spacing_) {
      const auto step = static_cast<std::size_t>(next_reading_ + upon);
      if (upon_pulses_ && next_reading_ - static_cast<double>(step) < upon)
        take_or_leave(step);
      else
        take_step(step);
    }
    next_reading_ -= static_cast<double>(steps);
    std::copy(levels_.end() - lanes, levels_.end(), last_levels_.begin());
  }

  void forget() {
    for (Rainflow& train : trains_) train.forget();
  }

  void finish(std::size_t place, std::size_t phase, FlickerTally& tally) {
    const double minutes = static_cast<double>(setup_.steps) / hz_ / 60;
    for (Rainflow& train : trains_) {
      train.finish();
      tally.add_train(place, phase, train.pairs(), minutes);
    }
  }

 private:
  // Where edges alone make a reading: the difference up to which it surely stays
  // quiet, within `rpm_off` of the mean. Nearly all do, and are done with.
  void find_quiet_edge(double rpm, double rpm_off) {
    if (loop_.wanders || !pattern_.empty() || loop_.edge_gain == 0) return;
    constexpr double rounding = 1 - 1e-4;
    quiet_edge_ = static_cast<float>(rpm_off / (1 + rpm_off / rpm) / std::fabs(loop_.edge_gain) * rounding);
  }

  void take(std::size_t step) {
    for (std::size_t l = 0; l < lanes; ++l) trains_[l].add(levels_[step * lanes + l]);
  }

  // The pulse of this step is in the reading, or is not yet.
  void take_or_leave(std::size_t step) {
    const std::uint64_t taken = coin_.bits();
    for (std::size_t l = 0; l < lanes; ++l) {
      const std::uint16_t before = step > 0 ? levels_[(step - 1) * lanes + l] : last_levels_[l];
      trains_[l].add((taken >> (2 * l + 8)) & 1 ? levels_[step * lanes + l] : before);
    }
  }

  template <class Use>
  void for_each_outside(std::size_t step, const Use& use) const {
    for (std::size_t first = 0; first < lanes; first += 8) {
      std::array<std::uint8_t, 8> bytes;
      std::copy_n(&outside_[step * lanes + first], bytes.size(), bytes.begin());
      auto flags = std::bit_cast<std::uint64_t>(bytes);
      for (; flags != 0; flags &= flags - 1)
        use(first + static_cast<std::size_t>(std::countr_zero(flags)) / 8);
    }
  }

  const FlickerSetup& setup_;
  double hz_;
  PlaceLoop loop_;
  float fresh_per_normal_ = 0;
  float one_ = 1;
  double spacing_ = 1;        // pulses from reading to reading
  double next_reading_ = 0;   // in steps from the block's start
  bool upon_pulses_ = false;  // readings fall upon pulses
  Random coin_{0, 0};
  std::array<std::uint16_t, lanes> last_levels_{};  // of the block before
  std::vector<float> pattern_;                      // of the firing, in rpm of a reading
  std::size_t pulse_ = 0;
  std::uint16_t quiet_from_ = 1, quiet_to_ = 0;  // none
  float quiet_edge_ = 0;                         // 0: none
  std::vector<float> speeds_;
  std::vector<float> with_pattern_;
  std::vector<std::uint16_t> levels_ = std::vector<std::uint16_t>(block_size);
  std::array<std::uint8_t, block_size> outside_{};
  std::vector<Rainflow> trains_;
};

}  // namespace

void fit_to_recording(FlickerSetup& setup) {
  if (setup.noise.replay.empty()) return;
  setup.steps = (setup.noise.replay.size() + lanes - 1) / lanes;
  setup.chunks = 1;
}

FlickerPhases flicker_phases(const FlickerSetup& setup, double rpm) {
  constexpr std::size_t most_per_pulse = 8;
  constexpr double near = 0.002;
  const std::size_t cycle = setup.noise.firing.size();
  const FlickerPhases single{pulses_per_reading(setup.unit, setup.pulses_per_rev, rpm), 1, 1};
  if (!setup.noise.replay.empty() || cycle < 2 || averaged(setup.unit) % cycle == 0) return single;
  if (setup.unit.update_hz <= 0 || single.spacing <= 1) return single;
  for (std::size_t q = 1; q <= most_per_pulse; ++q) {
    const auto p = static_cast<std::size_t>(std::llround(single.spacing * static_cast<double>(q)));
    const double spacing = static_cast<double>(p) / static_cast<double>(q);
    const std::size_t ways = std::gcd(p, cycle);
    if (ways < 2 || std::gcd(p, q) != 1 || std::abs(spacing - single.spacing) > near * spacing) continue;
    return {spacing, 2 * ways, q};
  }
  return single;
}

FlickerTally flicker_chunk(const FlickerSetup& setup, std::uint64_t chunk, Instructions with) {
  FlickerTally tally(setup);
  SharedNoise noise(setup, chunk, with);
  std::vector<Place> places;
  // Streams of their own, apart from those of the chunks' normals.
  constexpr std::uint64_t phase_streams = std::uint64_t{1} << 32;
  for (std::size_t p = 0; p < setup.places_rpm.size(); ++p)
    for (std::size_t phase = 0; phase < tally.phases(p); ++phase)
      places.emplace_back(setup, setup.places_rpm[p], phase, tally, phase_streams + chunk);
  // The first block is the past of the second. Then triggers find their state,
  // which is not known to begin with: that part is gone through, not counted.
  for (Place& place : places) place.block_of(noise, false, block, with);
  const auto go_through = [&](std::uint64_t steps) {
    for (std::uint64_t done = 0; done < steps; done += block) {
      noise.next_block();
      const auto some = static_cast<std::size_t>(std::min<std::uint64_t>(block, steps - done));
      for (Place& place : places) place.block_of(noise, true, some, with);
    }
  };
  const std::uint64_t before = setup.noise.replay.empty() ? setup.steps / 8 : setup.steps;
  go_through((before + block - 1) / block * block);
  for (Place& place : places) place.forget();
  go_through(setup.steps);
  auto place = places.begin();
  for (std::size_t p = 0; p < setup.places_rpm.size(); ++p)
    for (std::size_t phase = 0; phase < tally.phases(p); ++phase) place++->finish(p, phase, tally);
  return tally;
}

}  // namespace tachproof
