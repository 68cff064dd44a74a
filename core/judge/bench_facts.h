// What source and watcher state of themselves: how well they know rpm and time.
//
// Stated once by the rig, and handed on as it is: to the judge, to every budget of
// uncertainty, and into the record of the run.
#pragma once

#include "core/base/time.h"
#include "core/judge/time_relation.h"

namespace tachproof {

struct SourceTiming {
  Nanos tick = 1;        // resolution of the edges as played
  double clock_ppm = 0;  // of its clock against true time, standard uncertainty
  // Bounds: the rpm that it plays at t is the profile's of an instant this near
  // to t, give or take so many rpm.
  Nanos lag = 0;
  double rpm = 0;
  // Bounds: the unit's supply is cut, or back, so long after it should be; never cut before that.
  Nanos switch_from = 0, switch_to = 0;
  bool operator==(const SourceTiming&) const = default;
};

struct WatcherTiming {
  Nanos resolution = 1;         // of its stamps
  Nanos stamp_uncertainty = 0;  // standard, beyond the resolution
  Nanos stamp_offset = 0;       // of it, what is the same for all stamps of the run: looks like response
  // By lamp_changes nothing that rests on time passes, and no threshold is measured.
  TimeRelation time_by = TimeRelation::one_clock;
  Nanos stamp_width = 0;  // of the span that dates a change; 0: the resolution
  bool operator==(const WatcherTiming&) const = default;
};

struct BenchFacts {
  SourceTiming source;
  WatcherTiming watcher;
  bool operator==(const BenchFacts&) const = default;
};

// The same as standard uncertainties; lag and rpm of the source stay bounds.
struct BenchUncertainty {
  double timing_s = 0;        // of a lamp change against the train: ticks, resolution, stamps
  double source_tick_s = 0;   // the part of timing_s that is the source's
  double resolution_s = 0;    // the part of timing_s that is the watcher's resolution
  double stamp_offset_s = 0;  // the part of timing_s that all changes share
  double own_timing_s = 0;    // the part of timing_s that each change has for itself
  double clock_share = 0;     // relative, of the source's clock
  double rpm = 0;             // of one sample of the rpm itself (recordings)
  double source_lag_s = 0;    // bound, beside timing_s
  double source_rpm = 0;      // bound
  bool operator==(const BenchUncertainty&) const = default;
};
BenchUncertainty bench_uncertainty(const BenchFacts& facts, double rpm_uncertainty = 0);

}  // namespace tachproof
