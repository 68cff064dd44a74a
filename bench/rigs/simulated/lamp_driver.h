// The output side of the simulated unit: switching delay, blink generator,
// dimming, supply and the faults of lamps and wires.
#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <vector>

#include "bench/rigs/simulated/counter_random.h"
#include "bench/rigs/simulated/spells.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "core/base/time.h"
#include "core/gauge/gauge.h"
#include "core/judge/timeline.h"

namespace tachproof {

// Lit for `duty` of each period. Every edge is computed from its number, so
// that a rate that is no whole number of nanoseconds does not drift.
class SquareWave {
 public:
  SquareWave(double hz, double duty) : period_ns_(1e9 / hz), duty_(duty) {}

  // Runs from `t` on, as if it had begun a period at `origin_ns` (<= t).
  void start(double origin_ns, Nanos t);
  void stop() {
    running_ = false;
    next_ = never;
  }
  bool running() const { return running_; }
  void duty(double duty) { duty_ = duty; }  // from the next start on

  bool lit() const { return lit_; }
  Nanos next() const { return next_; }  // its next edge
  void pass();                          // that edge
  // All edges up to `until`: use(when, lit from then on).
  template <class Use>
  void pass_until(Nanos until, const Use& use) {
    while (next_ <= until) {
      const Nanos at = next_;
      pass();
      use(at, lit_);
    }
  }

 private:
  Nanos edge(double periods) const { return rounded(origin_ns_ + periods * period_ns_); }
  // std::llround, without a call for each edge.
  static Nanos rounded(double ns) {
    const auto whole = static_cast<Nanos>(ns);
    const double rest = ns - static_cast<double>(whole);
    return whole + (rest >= 0.5 ? 1 : 0) - (rest <= -0.5 ? 1 : 0);
  }

  double period_ns_;
  double duty_;
  double origin_ns_ = 0;
  std::int64_t period_ = 0;
  bool lit_ = true;
  bool running_ = false;
  Nanos next_ = never;
};

inline void SquareWave::pass() {
  lit_ = !lit_;
  next_ = lit_ ? edge(static_cast<double>(period_) + duty_) : edge(static_cast<double>(++period_));
}

class LampDriver {
 public:
  // Events are given in the channels of `as_seen`; a lamp or colour that it
  // does not have is not seen. `share`: of full light, as its buttons have it at first.
  LampDriver(const UnitSettings& settings, const Gauge& as_seen, double share, std::uint64_t seed);

  // The unit has decided on this window; calls come in time order.
  void decide(Nanos at, std::size_t window);
  // Its buttons have dimmed it to this share of full light; shown, like a window, after the response.
  void dim(Nanos at, double share);
  // The supply, in time order with the rest: gone, dark at once; the unit greets; it shows its window, which
  // is the lowest one until another is decided.
  void power_off(Nanos at);
  void greet(Nanos at, double share);
  void wake(Nanos at, double share);
  // Appends the changes up to `until`; nothing will be decided before that.
  void run(Nanos until, std::vector<LampEvent>& out);

 private:
  struct Pending {
    Nanos shows_at;
    std::optional<std::size_t> window;
    double share;
  };
  struct PowerChange {
    enum class To { off, greeting, awake };
    Nanos at;
    To to;
    double share;
  };
  struct Flaky {
    Channels channels;
    double mean_gap_ns;
    Nanos lasts;
    CounterRandom random;
    std::uint64_t draws;
    bool dark;
    Nanos next;
    void pass();
  };

  Nanos next_change() const;
  Nanos next_but_dimming() const;
  void dim_until(Nanos until, std::vector<LampEvent>& out);
  void pass(Nanos t);
  void pass(const PowerChange& change);
  void enter(std::size_t window, Nanos t);
  void show(const Cue& cue, Nanos t);
  void set_share(double share);
  Channels recoloured(Channels pattern) const;
  void show_pattern(Nanos t);
  Channels lit() const;
  Channels lit(bool dimmer_lit) const;

  std::vector<Cue> cues_;
  Channels stuck_on_, stuck_off_;
  Nanos response_;
  std::deque<Pending> pending_;
  std::deque<PowerChange> power_;
  bool fed_, greeting_ = false;
  Cue greeting_cue_;
  std::size_t window_ = 0;  // shown, or to be shown after the greeting
  SpellWalk frozen_;
  std::vector<Flaky> flaky_;
  std::optional<SquareWave> blink_;
  std::optional<SquareWave> dimmer_;
  double dimmer_origin_ns_ = 0;
  double dim_, share_;  // of the behaviour; of the buttons
  std::vector<DimColour> dim_colours_;

  Cue cue_;
  Channels pattern_ = 0;  // before dimming
  std::optional<Channels> shown_;
};

}  // namespace tachproof
