// The buttons of the simulated unit, and what it remembers of them.
//
// A button acts when it goes down. A take is what the unit believes at that instant: the rpm of its last
// update, averaged and rounded as its dial shows it. The lamps are reconsidered at the next update, so
// they follow after it and the response. A second press of a show-peak button within its time clears the
// peak and ends the showing, so that a third one shows it again. Of two buttons that dim, each has its
// own level, and their shares multiply. A press that comes before the unit is awake does nothing.
#pragma once

#include <deque>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "bench/rigs/simulated/unit_settings.h"
#include "core/base/time.h"
#include "core/gauge/gauge.h"

namespace tachproof {

class UnitButtons {
 public:
  explicit UnitButtons(const UnitSettings& settings);

  enum class Effect { none, settings, dimmed, peak_cleared };
  // A name that is no button of the gauge has no effect.
  Effect press(const std::string& button, Nanos at, double believed_rpm);
  // What it believes from `at` on; needed only where it `remembers`.
  void believes(Nanos at, double rpm);
  bool remembers() const { return faults_.take_late > 0; }

  // Everything is forgotten that is not kept.
  void lose_power();

  const Gauge& gauge() const { return gauge_; }  // as it is now
  double share() const;                          // of full light
  bool keeps_peak() const;

 private:
  struct Take {
    std::string button;
    std::size_t boundary;
    double rpm;
  };

  Effect take(const Button& button, const TakeRpm& take, Nanos at, double believed_rpm);
  Effect show(const Button& button, const ShowPeak& peak, Nanos at);
  Effect dim(const Button& button, const Dim& dim);
  void apply_takes();
  bool kept(const std::string& button) const;
  double believed_at(Nanos t) const;

  Gauge set_;  // as it was set, before any take
  ButtonFaults faults_;
  Gauge gauge_;
  std::vector<Take> takes_;                   // the last of each button, in the order of the presses
  std::map<std::string, std::size_t> level_;  // of each button that dims and was pressed
  std::map<std::string, Nanos> shown_;        // since when each shows the peak
  std::deque<std::pair<Nanos, double>> believed_;
};

// The same level: shares that differ by rounding only.
bool is_level(double share, double level);

// The other boundary of the window that ends, or begins, where this take puts its boundary: the one below,
// else the one above, that hangs from the same anchor. Nothing: there is none.
std::optional<std::size_t> other_end(const Gauge& gauge, std::size_t boundary);

}  // namespace tachproof
