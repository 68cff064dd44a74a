// What spoils a tach signal, as a model with numbers.
#pragma once

#include <cstdint>
#include <vector>

#include "core/time.h"

namespace tachproof {

struct Noise {
  double jitter_us = 0;   // white, standard deviation of each edge's instant
  double wander_rpm = 0;  // AR(1) speed wander: standard deviation ...
  double wander_s = 0;    // ... and correlation time; > 0 when wander_rpm > 0
  // Per pulse of the engine cycle: per cent of a pulse period late (+) or
  // early (-); mean zero. Empty or as many entries as pulses in a cycle.
  std::vector<double> firing;
  double missing = 0;             // probability that a pulse does not come
  double doubled = 0;             // probability that a pulse is followed by another ...
  double doubled_after_us = 300;  // ... after this
  // Edge deviations from even spacing that a recording showed, in pulse
  // periods, replayed in a ring instead of the model. Empty: none.
  std::vector<double> replay;

  bool quiet() const {
    return jitter_us == 0 && wander_rpm == 0 && firing.empty() && missing == 0 && doubled == 0 &&
           replay.empty();
  }
};

}  // namespace tachproof
