// What the history shows: how each boundary of a unit drifts, and how the units
// of a gauge spread. Deviations are threshold minus nominal, so that a gauge
// file that was changed in between does not look like drift.
#pragma once

#include <string>
#include <vector>

#include "bench/history/history.h"
#include "core/base/capability.h"

namespace tachproof {

struct DriftPoint {
  std::int64_t at_s = 0;  // since 1970-01-01 UTC
  double deviation_rpm = 0;
  double expanded_uncertainty_rpm = 0;
  std::string settings_sha256 = {};  // of the gauge file
  bool decided = true;               // the boundary passed or failed
};

// One boundary of one unit in one direction, from complete runs.
struct Drift {
  std::string gauge, unit;
  bool simulated = false;  // a unit in software is another, whatever its serial number
  std::string boundary;
  Direction direction = Direction::rising;
  double tolerance_rpm = not_measured;  // of the last run
  std::vector<DriftPoint> points;       // oldest first, at least one

  // Between which points a change is told: the last that is decided, and the first that is decided since
  // the settings were what they then were. Null: none is decided.
  const DriftPoint* first() const;
  const DriftPoint* last() const;
  bool has_change() const { return first() != last(); }
  bool settings_changed() const;  // before first(), so that less than all is told
  std::size_t undecided() const;

  // From the first to the last; not_measured where none is decided.
  double change_rpm() const;
  // Of the change, as if the two were independent. A bench's own error is the
  // same both times, so this is rather too much than too little.
  double change_uncertainty_rpm() const;
};

// Every unit's last result of one boundary; units in software apart from real ones.
struct Spread {
  std::string gauge;
  bool simulated = false;
  std::string boundary;
  Direction direction = Direction::rising;
  double tolerance_rpm = not_measured;
  std::vector<double> deviations_rpm;  // one a unit
  std::size_t left_out = 0;            // units whose U is above the tolerance
  Capability capability;
};

// In the order of gauges, units and boundaries as they first appear. Runs
// without a unit's serial number are of no unit and left out.
std::vector<Drift> drifts(const std::vector<HistoryRun>& runs);
std::vector<Spread> spreads(const std::vector<Drift>& drifts);

}  // namespace tachproof
