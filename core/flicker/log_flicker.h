// Did the lamps flicker in this lap? A log of rpm is led straight through a gauge's thresholds.
//
// No noise model is made of it. A log holds what its logger sampled and smoothed, and a lap is no
// steady speed: jitter, firing pattern and the mean that flicker is predicted from are not in it. So
// this tells what the lamps of an ideal unit, which believes the log, did in that lap, and no more.
//
// A change of the lamps at a boundary that is made, taken back and made again within a short time is a
// flicker. One flash is none: a shift point is meant to be passed and left at once.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "core/base/time.h"
#include "core/gauge/gauge.h"
#include "core/signal/profile.h"

namespace tachproof {

// Common practice, no published source.
inline constexpr Nanos usual_again_within = ns_per_s;

struct BoundaryFlicker {
  std::size_t boundary = 0;
  std::size_t changes = 0;   // either way
  std::size_t flickers = 0;  // changes that were made again too soon
  Nanos first_at = 0;        // where the first flicker began, from the log's first sample
};

// For every boundary of the gauge, with a deadband of this width in place of the gauge's own.
// Between samples the rpm is linear. The log's first rpm is where everything begins.
std::vector<BoundaryFlicker> flicker_in_log(const Gauge& gauge, std::span<const LoggedRpm::Sample> log,
                                            double width_rpm, Nanos again_within);

struct WidthFlicker {
  double width_rpm = 0;
  std::size_t changes = 0, flickers = 0;  // of all boundaries
};
// Widths 0, step, 2 step, ... up to `most_rpm`, below the narrowest window.
std::vector<WidthFlicker> flicker_by_width(const Gauge& gauge, std::span<const LoggedRpm::Sample> log,
                                           double step_rpm, double most_rpm, Nanos again_within);

}  // namespace tachproof
