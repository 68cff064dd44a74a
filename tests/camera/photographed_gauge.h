// A second drawer, which shares nothing with filmed_gauge: a tachometer as a phone on a
// tripod sees it, from the side, with needle and digits, lamps that are bars in a row, bloom, haze,
// a window's reflection, and automatic exposure and white balance that drift. Light is
// sampled over the exposure, not integrated.
#pragma once

#include <array>
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/timeline.h"

namespace tachproof::test {

using Rgb = std::array<float, 3>;  // linear

struct Photographed {
  const Gauge& gauge;
  std::vector<LampEvent> lamps;                  // in the run's time
  std::vector<std::pair<Nanos, Nanos>> flashes;  // of the bench's lamp, below the dial
  std::function<double(Nanos)> rpm;              // for the needle
};

struct Phone {
  double fps = 30, exposure_ms = 8, readout_ms = 15;
  double starts_s = 0.6, lasts_s = 0;  // the run's start in the clip's time; the clip's length
  double clock = 1;                    // seconds of the clip beside those of the run
  double uneven_ms = 0;                // frames come this much early or late; only in a folder's times
  double light = 1.2;                  // of a lamp; 1 fills the sensor
  double bloom = 0.12, haze = 0;
  double reflection = 0;      // its light; it wanders over the dial, not over lamps,
  bool over_lamp = false;     // or lies on one, for a second
  double balance = 0;         // white balance drifts by this share to and fro,
  double exposure_drift = 0;  // exposure likewise
  double noise = 0.006;
  double fade_s = 0;  // lamps in `colours` come and go by degrees: a filament's time constant
  enum class Into { mjpg, h264, folder } into = Into::mjpg;
  std::map<std::string, Rgb> colours;  // by channel ("rowan yellow"), in place of the usual ones
  std::uint64_t seed = 1;
};

void photograph(const Photographed& run, const Phone& phone, const std::string& to);

}  // namespace tachproof::test
