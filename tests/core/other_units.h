// Units of several physics, each by a direct formula and none by the simulated
// unit of the program, that are crossed on ramps: do the stated intervals hold
// their thresholds?
#pragma once

#include <cstdint>
#include <random>
#include <string>
#include <vector>

#include "core/judge/thresholds.h"

namespace tachproof::other_units {

enum class Kind {
  ordinary,            // 100 updates a second, 20 ms
  exponential_filter,  // of 5 to 40 ms, 50 to 200 updates a second
  fixed_gate,          // the mean over 40 to 70 ms, told at its end
  tracking_loop,       // second order, 4 to 10 Hz, noise that its filter has made smooth
  updates_20_hz,
  updates_12_hz,
  noisy,      // 0.5 rpm on every reading
  apart,      // 6 ms up and 55 ms down, or the other way round
  slow_rise,  // 60 to 90 ms more on the way up only
};
constexpr Kind kinds[] = {
    Kind::ordinary,      Kind::exponential_filter, Kind::fixed_gate, Kind::tracking_loop,
    Kind::updates_20_hz, Kind::updates_12_hz,      Kind::noisy,      Kind::apart,
    Kind::slow_rise};
std::string name(Kind kind);

struct Plan {
  const char* name;
  std::size_t boundaries;
  std::vector<double> rates;  // of the visits in each direction, rpm per second
  std::size_t often = 0;      // this boundary has so many more at the last rate
  int more = 0;
};
// Two slow visits and a quick one each way, of nine boundaries and of one; and what a survey plays before
// it looks for the first time.
std::vector<Plan> plans();

constexpr FitSetup allowed = [] {
  FitSetup setup;
  setup.response_to_s = 0.120;
  setup.bench.clock_share = 15e-6;
  return setup;
}();

class Unit {
 public:
  Unit(Kind kind, std::mt19937_64& random);
  // The instant of the change, seconds after a ramp of that rate and direction met the threshold.
  double changes_after(double rate, Direction direction);
  double mean_response_s(Direction direction) const;

 private:
  double reading_lag_s(double rate, double t) const;
  double uniform(double low, double high);

  Kind kind_;
  std::mt19937_64& random_;
  double lag_s_ = 0, period_s_ = 0.01, noise_rpm_ = 0, output_s_[2] = {0, 0};
  double loop_hz_ = 0;
};

Visit visit(Unit& unit, std::size_t boundary, Direction direction, double threshold, double rate);

struct Coverage {
  int intervals = 0, held = 0;
  int widths = 0, widths_held = 0, responses = 0, responses_held = 0;
  double sum_u_rpm = 0;
  double share() const { return intervals > 0 ? static_cast<double>(held) / intervals : 0; }
};
Coverage coverage(Kind kind, const Plan& plan, int units, std::uint64_t seed);

}  // namespace tachproof::other_units
