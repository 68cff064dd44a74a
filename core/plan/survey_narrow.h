// Windows so narrow that a jump, or a fast ramp, would only flash past them.
//
// A dimmed lamp is lit and dark again and again, and of less than a few periods
// nobody can say whether they were dimming or the lamp's own change. So narrow
// windows are passed slowly, also on the way to somewhere else.
#pragma once

#include <vector>

#include "core/gauge/gauge.h"
#include "core/signal/profile.h"

namespace tachproof {

class NarrowWindows {
 public:
  // Six periods of the slowest dimming (DimmingFilter::least_hz).
  static constexpr Nanos shown = 75 * ns_per_ms;

  explicit NarrowWindows(const Gauge& gauge);

  bool any() const { return !clusters_.empty(); }

  // The rate, or a lower one where low_rpm..high_rpm touches narrow windows, at
  // which each of them is shown for long enough.
  double unhurried(double rpm_per_s, double low_rpm, double high_rpm) const;
  // The same steps, holds and ramps by time, after from_rpm; where a hold's jump
  // leads past narrow windows they are passed in a ramp.
  std::vector<Step> unhurried(double from_rpm, std::vector<Step> steps) const;

 private:
  struct Cluster {  // of adjoining ones, with room on both sides
    double low = 0, high = 0, rate = 0;
  };
  std::vector<Cluster> clusters_;  // lowest first
  Nanos settled_;
};

}  // namespace tachproof
