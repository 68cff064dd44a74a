// Thresholds between two holds: the rpm stayed just short of where a threshold is set, then just beyond it,
// and the unit changed during the second hold.
//
// What it showed then rests on one of the two rpm, or on what its reading still held of the one before
// (core/judge/jump_memory.h). That needs neither a rate nor the response, only that the first hold lasted
// longer than any response that is allowed.
#pragma once

#include <cstddef>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/judge_setup.h"
#include "core/judge/jump_memory.h"
#include "core/judge/result.h"
#include "core/judge/rpm_history.h"

namespace tachproof {

class HeldThresholds {
 public:
  HeldThresholds(const Gauge& gauge, const JudgeSetup& setup);

  // The lamps went from one window's picture to the other's, undisturbed.
  void changed(std::size_t from_window, std::size_t to_window, Nanos at, const RpmHistory& history);

  struct Between {
    double low_rpm = 0, high_rpm = 0;
    int passes = 0;  // that agree with each other; 0: not known
    double half_width_rpm() const { return (high_rpm - low_rpm) / 2; }
  };
  // way_of(boundary, direction)
  Between between(std::size_t way, const JumpMemory& memory) const;

 private:
  struct Pass {
    double short_rpm = 0, beyond_rpm = 0;  // of the threshold, in the pass's direction
    double jump_rpm = 0, held_s = 0;       // to the first hold, and for how long until the change
  };
  static constexpr std::size_t most_kept = 32;  // by way

  double pulses_per_rev_, longest_s_, widest_rpm_;
  bool takes_;
  std::vector<std::vector<Pass>> passes_;
};

}  // namespace tachproof
