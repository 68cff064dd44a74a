// What spoils a tach signal, as a model with numbers.
#pragma once

#include <cstdint>
#include <vector>

#include "core/base/time.h"

namespace tachproof {

struct Noise {
  double jitter_us = 0;  // white, standard deviation of each edge's instant
  // AR(1) speed wander: its standard deviation, and its correlation time (> 0
  // when wander_rpm > 0). At any instant the speed is the profile's plus the
  // wander, by at most half of the profile's.
  double wander_rpm = 0;
  double wander_s = 0;
  // Per pulse of the engine cycle: per cent of a pulse period late (+) or
  // early (-); mean zero. Empty or as many entries as pulses in a cycle.
  std::vector<double> firing;
  double missing = 0;  // probability that a pulse does not come
  double doubled = 0;  // probability that a pulse is followed by another ...
  // ... after this, or sooner where the next pulse is near. Where there is no
  // room between the two for one more, none comes.
  double doubled_after_us = 300;
  // Edge deviations from even spacing that a recording showed, in pulse
  // periods, late (+) or early (-), replayed in a ring instead of jitter,
  // wander and firing. Empty: none.
  std::vector<double> replay;

  bool quiet() const {
    return jitter_us == 0 && wander_rpm == 0 && firing.empty() && missing == 0 && doubled == 0 &&
           replay.empty();
  }
};

}  // namespace tachproof
