// Flicker against deadband width at every boundary of a gauge, and the smallest
// width that keeps it under a limit.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "core/flicker/flicker.h"
#include "core/flicker/flicker_causes.h"
#include "core/gauge/gauge.h"
#include "core/signal/noise.h"

namespace tachproof {

struct FlickerAsk {
  Noise noise;
  UnitReading unit;
  double limit_per_min = 1;  // lamp changes
  double confidence = 0.95;
  std::uint64_t seed = 1;
  double step_rpm = 1;       // between the rows of a curve
  double widest_rpm = 50;    // of the curve
  double minutes = 0;        // simulated at the slowest boundary; 0: as the limit asks for
  double least_minutes = 0;  // in place of fewer that the limit asks for
  bool by_mean = false;      // how the rate falls off beside the worst mean is wanted too
  unsigned threads = 0;      // 0: as many as there are processors; shows in nothing but time
  std::function<void()>
      between;  // called again and again by the calling thread; what it throws ends the study
};

// All rates are lamp changes per minute at the worst mean rpm, those by missing
// and doubled pulses included.
struct WidthRow {
  double width_rpm = 0;
  double mean_rpm = 0;  // where it flickers most
  double rate_per_min = 0;
  double upper_per_min = 0;
  double closed_form_per_min = 0;  // NaN where there is none
  double crossings_per_min = 0;    // Rice's bound; NaN where there is none
  Flicker simulated;
};

struct BoundaryCurve {
  std::string boundary;
  double rpm = 0;
  double disturbances_per_min = 0;  // part of every rate
  std::vector<WidthRow> rows;
  std::optional<std::size_t> smallest;  // the first row that holds, as do all after it
  // Where it was asked for: of the widest row that makes as many changes as the
  // limit or more, else of the first. Simulated rates at means `mean_step_rpm` apart,
  // the worst that of `by_mean[below]`.
  std::size_t at_limit = 0;
  std::vector<double> by_mean;
  std::size_t below = 0;
  double mean_step_rpm = 0;
};

struct FlickerStudy {
  std::vector<BoundaryCurve> boundaries;
  std::size_t decisive = 0;                // the boundary that asks for the widest deadband
  std::optional<std::size_t> recommended;  // a row; nothing: no width holds
  double room_rpm = 0;                     // a deadband must be narrower than this, for the windows' sake
  FlickerReason reason;                    // at the gauge's own deadband, the decisive boundary
  double simulated_minutes = 0;            // at the decisive boundary
};

// Throws std::invalid_argument when the gauge has no boundary.
FlickerStudy study_flicker(const Gauge& gauge, const FlickerAsk& ask);

// All chunks of a setup, on so many threads. `between`: as of a study.
FlickerTally simulate_flicker(const FlickerSetup& setup, unsigned threads,
                              const std::function<void()>& between = {});

}  // namespace tachproof
