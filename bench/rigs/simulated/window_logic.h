// From measured periods to the window that the simulated unit believes in.
//
// The reading is rounded to the nearest multiple of the resolution and the
// rounded value is compared, as in a unit that acts on what its dial shows. A
// threshold that is a multiple of the resolution is therefore met half a
// resolution early; for any threshold the bias is at most that.
#pragma once

#include <cstdint>

#include "bench/rigs/simulated/counter_random.h"
#include "bench/rigs/simulated/period_meter.h"
#include "bench/rigs/simulated/unit_settings.h"

namespace tachproof {

class WindowLogic {
 public:
  // The settings must outlive the logic.
  WindowLogic(const UnitSettings& settings, std::uint64_t seed);

  std::size_t window() const { return window_; }
  double peak_rpm() const { return peak_rpm_; }
  double believed_rpm() const;  // of the last update, rounded; 0 without a signal

  // The update with this index, at this instant, over at least one period.
  // True: the window changed.
  bool consider(const MeterReading& m, Nanos at, std::uint64_t update) {
    const auto ticks = static_cast<double>(m.ticks);
    const auto periods = static_cast<double>(m.periods);
    if (ticks > periods * shortest_quiet_ && ticks < periods * longest_quiet_) {
      quiet_ = m;
      return false;
    }
    return believe(m, at, update);
  }
  bool signal_lost(Nanos at);
  void forget(bool but_the_peak = false);  // the supply failed
  void clear_peak();
  void settings_changed() { find_quiet_periods(); }  // the window is considered at the next update

 private:
  bool believe(const MeterReading& m, Nanos at, std::uint64_t update);
  double rpm_of(const MeterReading& m) const;
  double filtered(double rpm, Nanos at);
  bool move_to(std::size_t window);
  void find_quiet_periods();

  const UnitSettings& settings_;
  CounterRandom noise_;
  double rpm_per_rate_;  // rpm = this * periods / ticks
  std::size_t window_ = 0;
  double peak_rpm_ = 0;
  double believed_ = 0;  // of the last update, unless that one was quiet
  MeterReading quiet_;   // the last update where it was, else of no period
  // The filter: what it was last given, what it made of it, and when.
  double filter_in_ = 0, filter_out_ = 0;
  Nanos filter_at_ = 0;
  // Mean periods between these, in timer ticks, surely change neither the
  // window nor the peak: most updates end here, without a division.
  double shortest_quiet_ = 0, longest_quiet_ = 0;
};

}  // namespace tachproof
