#include "core/flicker/flicker.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <span>

#include "core/flicker/flicker_reading.h"
#include "core/flicker/normal_lanes.h"
#include "core/flicker/place.h"
#include "core/flicker/place_loops.h"

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
        past_(averaged(setup.unit) * lanes),
        segment_(setup.steps),
        has_wander_(replay_.empty() && setup.noise.wander_rpm > 0),
        edges_(past_ + block_size, 0.0f) {
    next_block();
  }

  void next_block() {
    std::copy(edges_.end() - static_cast<std::ptrdiff_t>(past_), edges_.end(), edges_.begin());
    const std::span<float> fresh(edges_.data() + past_, block_size);
    if (replay_.empty()) {
      normals_.fill(fresh);
    } else {
      replay(fresh);
    }
    if (has_wander_) normals_.fill(wander_);
  }

  NoiseBlock block() const { return {{edges_.data() + past_, edges_.data()}, wander_.data()}; }

 private:
  // Each lane starts one segment further on in the ring; a block early, as the
  // first block only fills the past.
  void replay(std::span<float> out) {
    const std::size_t ring = replay_.size();
    for (std::size_t step = 0; step < flicker::block; ++step)
      for (std::size_t l = 0; l < lanes; ++l)
        out[step * lanes + l] = static_cast<float>(replay_[(at_ + step + l * segment_ + ring) % ring]);
    at_ += flicker::block;
  }

  const std::vector<double>& replay_;
  NormalLanes normals_;
  std::size_t past_;  // edges that readings of a block need of the one before
  std::size_t segment_;
  bool has_wander_;
  std::size_t at_ = 0;
  std::vector<float> edges_;
  std::vector<float> wander_ = std::vector<float>(block_size, 0.0f);
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
                           const std::function<void()>& between, TrainSpan trains) {
  FlickerTally tally(setup);
  SharedNoise noise(setup, chunk, with);
  std::vector<Place> places;
  // Streams of their own, apart from those of the chunks' normals.
  constexpr std::uint64_t phase_streams = std::uint64_t{1} << 32;
  places.reserve(tally.slots());
  for (std::size_t p = 0; p < setup.places_rpm.size(); ++p)
    for (std::size_t phase = 0; phase < tally.phases(p); ++phase)
      places.emplace_back(setup, setup.places_rpm[p], phase, tally, phase_streams + chunk, trains);
  // The first block is the past of the second. Then triggers find their state,
  // which is not known to begin with: that part is gone through, not counted.
  for (Place& place : places) place.block_of(noise.block(), false, block, with);
  const auto go_through = [&](std::uint64_t steps) {
    for (std::uint64_t done = 0; done < steps; done += block) {
      if (between) between();
      noise.next_block();
      const auto some = static_cast<std::size_t>(std::min<std::uint64_t>(block, steps - done));
      for (Place& place : places) place.block_of(noise.block(), true, some, with);
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
