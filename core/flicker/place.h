// One boundary's rpm in a flicker simulation: its readings, and each train's cycles.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <vector>

#include "core/base/random.h"
#include "core/flicker/flicker.h"
#include "core/flicker/place_loops.h"
#include "core/flicker/rainflow.h"
#include "core/flicker/side_runs.h"

namespace tachproof::flicker {

// A block of the noise that all places share: edges, and normals of the wander.
struct NoiseBlock {
  EdgePair edges;
  const float* wander;
};

class Place {
 public:
  // `stream`: of the random numbers that say how updates and firing pattern lie to each other.
  Place(const FlickerSetup& setup, double rpm, std::size_t phase, const FlickerTally& tally,
        std::uint64_t stream, TrainSpan counted);

  // `counted`: else the block only is the past of the next. The first `steps` of it count.
  void block_of(const NoiseBlock& noise, bool counted, std::size_t steps, Instructions with);
  void forget();  // what was counted
  void finish(std::size_t place, std::size_t phase, FlickerTally& tally);

 private:
  void set_updates(const FlickerSetup& setup, double rpm, std::size_t phase, std::uint64_t stream);
  void set_quiet(const FlickerSetup& setup, double rpm, std::size_t middle);
  bool sifted() const { return quiet_to_ > quiet_from_; }  // only readings outside count
  void take_far(EdgePair edges, std::size_t steps, Instructions with);
  std::size_t find_far(std::size_t steps);
  void take_updates(std::size_t steps);
  std::size_t pick_in_step(std::size_t steps);
  std::size_t pick(std::size_t lane, std::size_t steps);

  double hz_;
  TrainSpan counted_;
  std::uint64_t steps_;  // of a train
  PlaceLoop loop_;
  float fresh_per_normal_ = 0;
  double spacing_ = 1;                        // pulses from reading to reading
  std::array<double, lanes> next_reading_{};  // in steps from the block's start
  bool apart_ = false;                        // each lane has updates of its own
  bool upon_pulses_ = false;                  // readings fall upon pulses
  Random coin_{0, 0};
  std::array<std::uint16_t, lanes> last_levels_{};  // of the block before
  std::uint16_t quiet_from_ = 1, quiet_to_ = 0;     // none
  float quiet_edge_ = 0;                            // 0: none
  std::vector<float> speeds_ = std::vector<float>(2 * block_size, 0.0f);
  std::vector<std::uint16_t> levels_ = std::vector<std::uint16_t>(block_size);
  std::vector<std::uint16_t> picked_ = std::vector<std::uint16_t>(block_size);
  FarSteps far_steps_{};
  std::array<std::uint16_t, block_size + 2> far_;  // indexes of such readings
  std::array<float, block_size> differences_{};    // theirs
  std::vector<std::int32_t> pairs_;  // of all trains: one piece of memory is soon had and given back
  std::vector<Rainflow> trains_;
  SideRuns runs_;
};

}  // namespace tachproof::flicker
