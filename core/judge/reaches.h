// The windows that a conforming unit can show, from the moves of its boundaries (see
// core/judge/trigger_moves.h) in time order, and from the spans in which the signal was disturbed.
#pragma once

#include <cstddef>
#include <deque>
#include <vector>

#include "core/base/time.h"
#include "core/gauge/gauge.h"
#include "core/judge/expectation.h"
#include "core/judge/trigger_moves.h"

namespace tachproof {

// Streams: moves go in as they are found, `publish` puts them in order as far as all are known.
class Reaches {
 public:
  explicit Reaches(const Gauge& gauge);

  // Where the unit can be at t = 0: one entry for each boundary. Once, before any move.
  void begin(const std::vector<TriggerSides>& beginning);
  bool begun() const { return begun_; }
  // Takes the moves over and leaves the list empty.
  void add(std::vector<TriggerMove>& moves);
  // As Expectation::disturbed.
  void disturbed(Nanos from, Nanos to);
  // No move that is added later comes before `until`: what lies before it is decided.
  void publish(Nanos until);
  // What has been decided since the last take.
  Expectation::Decided take();

 private:
  struct Boundary {
    double rising_rpm = 0, falling_rpm = 0;
    Nanos nominal_rising = 0, nominal_falling = 0;
    // What the settings demanded last: nothing yet, below or above.
    enum class Certain { nothing, below, above } certain = Certain::nothing;
    Nanos open_since = 0;
    // In time order, as far as has been published. What the settings and the profile
    // alone say:
    bool high_raw = false, low_raw = false, sure_below = false, sure_above = false;
    // What a disturbance has left in doubt: the unit may still be above, or below.
    bool high_doubt = false, low_doubt = false;
    bool high_above = false, low_above = false;  // both together: as published
  };
  struct Disturbed {
    Nanos from = 0, to = 0;
  };

  Nanos next_change() const;
  void begin_disturbance();
  void end_disturbance();
  static void settle_doubt(Boundary& state);
  void apply(TriggerMove move);
  void update(std::size_t i, Nanos at);

  std::vector<Boundary> boundaries_;
  bool begun_ = false;
  Nanos known_until_ = 0;
  std::vector<TriggerMove> moves_;  // those before `sorted_` in time order, before `next_move_` applied
  std::size_t sorted_ = 0, next_move_ = 0;
  std::deque<Disturbed> disturbances_;
  bool disturbed_now_ = false;  // as far as has been published
  std::vector<Reach> reaches_;
  std::vector<ExpectedTransition> transitions_;
  std::size_t lowest_ = 0, highest_ = 0;
};

}  // namespace tachproof
