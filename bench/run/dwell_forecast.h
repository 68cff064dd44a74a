// What is known of a dwell before it begins, by simulating a sound unit under
// the same noise: in which order boundaries are held, at which mean, what time
// beside that mean is worth, how long it will take, and which width would hold.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "bench/run/flicker_study.h"
#include "core/gauge/gauge.h"
#include "core/judge/result.h"
#include "core/plan/dwell.h"
#include "core/plan/hold_evidence.h"
#include "core/signal/noise.h"

namespace tachproof {

class DwellForecast {
 public:
  struct Boundary {
    double mean_rpm = 0;  // where a sound unit, set as it should be, flickers most
    double off_rpm = 0;   // that mean, from the middle of the deadband
    double rate_per_min = 0;
    double dispersion = 1;  // of cycles, where they are as many as the limit allows
    MeanShape shape;        // of a deadband at which a sound unit makes as many changes as the limit allows,
    double shape_rpm = 1;   // so wide
    Flicker simulated;      // at the gauge's deadband
  };

  DwellForecast(const Gauge& gauge, const Noise& noise, const UnitReading& unit, const Dwell& dwell,
                std::uint64_t seed);

  const Boundary& at(std::size_t boundary) const { return boundaries_[boundary - 1]; }
  // All boundaries, from 1; the one that flickers most first, of those that do
  // not the one that needs the widest deadband.
  const std::vector<std::size_t>& order() const { return order_; }
  // Bench time if no lamp flickers, the visits included.
  Nanos quiet() const { return quiet_; }

  // Which deadband would keep the unit quiet, in a sentence: `fails` of its
  // boundaries, each with whether the unit itself is to blame.
  struct Failed {
    std::size_t boundary = 0;
    double changes_per_min = 0;
    bool by_unit = false;
  };
  std::string width_that_holds(const std::vector<Failed>& fails) const;

 private:
  std::optional<double> width_for(const Failed& fail, double sound_rpm) const;

  Gauge gauge_;
  FlickerStudy study_;
  std::vector<Boundary> boundaries_;
  std::vector<std::size_t> order_;
  Nanos quiet_ = 0;
};

}  // namespace tachproof
