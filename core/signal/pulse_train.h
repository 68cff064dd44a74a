// The pulse train: the exact instants of the tach signal's active edges.
//
// Pulse k (k = 1, 2, ...) is due when the profile's phase, pulses_per_rev
// times the turns so far, reaches k. The phase is carried from segment to
// segment, so a step or a reversal never loses or gains a fraction of a pulse.
// Noise moves, drops or doubles due pulses; it is seeded, and the same seed
// gives the same bits on every processor.
//
//     PulseTrain train(profile, 3, noise, 42);
//     std::array<Nanos, 4096> block;
//     while (std::size_t n = train.next(block)) play({block.data(), n});
//
// Constant memory whatever the length. Instants never decrease, and noise
// leaves at least `min_gap` between two pulses.
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "core/base/time.h"
#include "core/signal/noise.h"
#include "core/signal/profile.h"

namespace tachproof {

// A stretch in which the signal itself was not what the profile says: a pulse
// missing or doubled. Known to the bench, because the bench played it.
struct Disturbance {
  enum class Kind { missing, doubled } kind = Kind::missing;
  Nanos at = 0;
};

class PulseTrain {
 public:
  // The profile must outlive the train. 0 < pulses_per_rev <= 60. Throws
  // std::invalid_argument for another, or for a noise that cannot be.
  PulseTrain(const Profile& profile, double pulses_per_rev, const Noise& noise = {}, std::uint64_t seed = 0);
  ~PulseTrain();
  PulseTrain(PulseTrain&&) noexcept;
  PulseTrain& operator=(PulseTrain&&) noexcept;

  // Fills `out` from the front with the next instants and says how many; 0
  // means that the profile has ended.
  std::size_t next(std::span<Nanos> out);

  // Disturbances among the pulses handed out since the last call, in time
  // order. They are kept until taken.
  std::vector<Disturbance> take_disturbances();

  static constexpr Nanos min_gap = 50 * ns_per_us;

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace tachproof
