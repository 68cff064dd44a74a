// The noise model that a recorded tach signal fits.
//
// Missing and doubled pulses are mended and counted; a slow drift of the speed
// is taken off; the firing pattern is folded out; jitter and wander follow by
// maximum likelihood; and what is left is asked whether it is the white noise
// that it ought to be. A recording that says too little, or something else, does
// not fit, and says why.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "core/base/time.h"
#include "core/recording/pulse_mender.h"
#include "core/recording/wander_fit.h"
#include "core/signal/noise.h"

namespace tachproof {

struct NoiseFitSetup {
  double pulses_per_rev = 0;  // 0: to be found, from how often the firing pattern repeats
  Nanos resolution = 1;       // of the edges' instants
};

struct NoiseFit {
  std::uint64_t pulses = 0;
  double duration_s = 0;
  // NaN where it was neither given nor found; then so are all that rest on it.
  double pulses_per_rev = 0;
  double mean_rpm = 0;
  Noise noise;
  Interval jitter_us, wander_rpm, wander_s, missing, doubled;  // 95 %
  std::vector<Interval> firing;
  bool fits = false;
  std::vector<std::string> reasons;  // why it does not fit, a sentence each
  std::vector<std::string> notes;    // what a reader must know

  // For drawings.
  struct Line {
    double cycles_per_pulse = 0;
    double percent = 0;  // amplitude of the periods, per cent of their mean
  };
  std::vector<Line> spectrum;
  struct Spread {
    double span_s = 0;
    double seen = 0;      // overlapping Allan deviation, a share of the speed
    double modelled = 0;  // what the fitted model makes of it
  };
  std::vector<Spread> allan;
  std::vector<double> residuals;  // of the likelihood, standardised
};

// In one pass and constant memory, whatever the length.
class NoiseFitter {
 public:
  explicit NoiseFitter(const NoiseFitSetup& setup);
  void add(std::span<const Nanos> edges);  // increasing
  // The files that print decimals tell their resolution only at their end.
  void resolution(Nanos resolution) { setup_.resolution = resolution; }
  NoiseFit finish();

 private:
  NoiseFitSetup setup_;
  PulseMender mender_;
};

// `edges` increasing.
NoiseFit fit_noise(std::span<const Nanos> edges, const NoiseFitSetup& setup);

inline constexpr std::size_t fewest_pulses_to_fit = 500;
inline constexpr std::size_t most_pulses_to_fit = 60'000;  // jitter and wander
// Of these are speed, drift and firing pattern; missing and doubled pulses are counted in all.
inline constexpr std::size_t most_pulses_kept = 1'000'000;

}  // namespace tachproof
