// From fits and bounds to the rows of thresholds, deadbands and responses.
#pragma once

#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/findings.h"
#include "core/judge/held_thresholds.h"
#include "core/judge/judge_setup.h"
#include "core/judge/result.h"
#include "core/judge/threshold_bounds.h"
#include "core/judge/thresholds.h"
#include "core/judge/verdicts.h"
#include "core/judge/window_reading.h"

namespace tachproof {

// What a run says of the boundaries, before it is put in rows. Indices as in
// ThresholdFits: way_of(boundary, direction), or the boundary.
struct BoundaryEvidence {
  const ThresholdFits& fits;
  const std::vector<ThresholdBounds>& bounds;
  std::vector<bool> crossed;      // by the profile
  std::vector<bool> changed;      // a lamp change was seen for it
  std::vector<double> slowest;    // of the ramps across it, rpm/s; infinite: steps only
  std::vector<double> fastest;    // the same; infinite where a step crossed it
  std::vector<Nanos> first_seen;  // for findings
  std::vector<HeldThresholds::Between> held;
};

// Two rates, or a ramp and a step, separate response and threshold: at some boundary, in this
// direction. Up and down may differ.
bool has_a_lever(const BoundaryEvidence& evidence, Direction direction);

// How far a threshold may be off, in rpm, for a response that is allowed and that this
// boundary's own visits do not separate from it: what other boundaries showed may be another
// response. 0 where two rates of its own do: a step is answered otherwise than a ramp. `way`: of
// ThresholdFits.
double open_response_rpm(const Gauge& gauge, const BoundaryEvidence& evidence, std::size_t way);

// A row for each threshold that the profile crosses and the wired lamps can show. Its verdict
// is that of the measured rpm against the gauge's tolerance; a threshold that is only
// known to lie between two rpm says so, and what would decide it.
std::vector<BoundaryResult> boundary_rows(const Gauge& gauge, const JudgeSetup& setup,
                                          const WindowReading& reading, const BoundaryEvidence& evidence,
                                          FindingLog& log);

// A row for each boundary whose thresholds were both measured. A width may be off by what its
// two thresholds may be off by together.
std::vector<DeadbandResult> deadband_rows(const Gauge& gauge, const JudgeSetup& setup,
                                          const std::vector<BoundaryResult>& thresholds,
                                          const BoundaryEvidence& evidence, FindingLog& log);

// A row for each boundary and direction whose response was measured; and one that says
// so for a direction in which none was.
std::vector<ResponseResult> response_rows(const Gauge& gauge, const JudgeSetup& setup,
                                          const BoundaryEvidence& evidence, FindingLog& log);

}  // namespace tachproof
