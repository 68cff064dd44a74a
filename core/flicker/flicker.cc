#include "core/flicker/flicker.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <numeric>

#include "core/base/portable_math.h"
#include "core/base/random.h"
#include "core/flicker/flicker_reading.h"
#include "core/flicker/normal_lanes.h"
#include "core/flicker/place_loops.h"
#include "core/flicker/rainflow.h"

namespace tachproof {
namespace {

using namespace flicker;

static_assert(UnitReading::most_averaged <= static_cast<int>(block));

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

FlickerTally flicker_chunk(const FlickerSetup& setup, std::uint64_t chunk, Instructions with,
                           const std::function<void()>& between) {
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
      if (between) between();
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
