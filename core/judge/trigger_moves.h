// The moves of a conforming unit's boundaries that a profile allows and demands: four levels for
// each boundary, crossed by r at instants that the segments give, each with its wait. What comes
// of the moves together is in core/judge/reaches.h; the reasoning stands in core/judge/expectation.h.
#pragma once

#include <cstddef>
#include <limits>
#include <vector>

#include "core/base/time.h"
#include "core/gauge/gauge.h"
#include "core/judge/expectation.h"
#include "core/signal/profile.h"

namespace tachproof {

struct TriggerMove {
  enum class What {
    state,   // the highest or the lowest state of a boundary changes
    sure,    // every believable rpm is (or is no longer) beyond the patient level: the
             // unit is on that side whatever it did before
    nominal  // the exact threshold, at the fastest response
  };
  Nanos at = 0;              // may be negative: before the run began
  std::size_t boundary = 0;  // from 0
  What what = What::state;
  bool high = false;   // of the highest state, else of the lowest
  bool above = false;  // state: its side; sure: it is; nominal: rising
};

// On which sides of a boundary a conforming unit can be when the profile begins.
struct TriggerSides {
  bool high_above = false, low_above = false;       // in its highest and in its lowest state
  bool surely_below = false, surely_above = false;  // whatever it did before
};

// Streams: segments in time order go in, moves come out, in no order of their own.
class TriggerMoves {
 public:
  TriggerMoves(const Gauge& gauge, const ExpectationOptions& options);

  void add(Segment segment);
  // The profile stays at its last rpm until `until`.
  void finish(Nanos until);

  // By boundary, from the first segment on (or the end of a profile without one).
  const std::vector<TriggerSides>& beginning() const { return beginning_; }
  // Those that nobody has taken yet; whoever takes them clears the list.
  std::vector<TriggerMove>& moves() { return moves_; }
  // No later segment gives a move before this instant.
  Nanos complete_until() const { return now_ + fastest_; }
  // How often the profile has crossed this threshold (boundary from 1); where it began is no crossing.
  std::size_t crossings(std::size_t boundary, Direction direction) const;

 private:
  // One bound of the reachable states of one boundary. It moves towards its own
  // side (`eager`) as soon as any believable rpm allows, and away from it only
  // when every believable rpm demands it (`patient`): r must have stayed beyond
  // the patient level for as long as the responses differ.
  struct Trigger {
    bool above = false;
    bool eager_up = false;    // the highest state: eager to go up
    Nanos beyond_since = -1;  // r passed the patient level then; -1: it is not beyond
    Nanos patient_at = -1;    // when the patient move happens, if r stays
    bool sure = false;        // r has been beyond the patient level for long enough
  };
  enum class LevelUse { high_eager, high_patient, low_eager, low_patient, nominal_up, nominal_down };
  struct Level {
    double rpm = 0;
    std::size_t boundary = 0;
    LevelUse use = LevelUse::nominal_up;
  };
  struct Boundary {
    Trigger high, low;
    bool nominal_above = false;
    std::size_t crossed_up = 0, crossed_down = 0;  // by the profile, its beginning not counted
  };

  void begin(double rpm);
  void piece(const Segment& segment, double from, double to);
  void go_to(double rpm, Nanos when, const Segment* segment, double from, double to);
  void crossed(const Level& level, bool up, Nanos t);
  void move_eagerly(Trigger& trigger, std::size_t boundary, Nanos t);
  void beyond(Trigger& trigger, std::size_t boundary, bool is_beyond, Nanos t);
  void expire(Nanos t);
  void expire(Trigger& trigger, std::size_t boundary, Nanos t);

  const bool starts_unknown_;
  const Nanos lag_, slowest_, fastest_, signal_lost_;
  double slow_rpm_ = 0;
  std::vector<Level> levels_;  // ascending
  std::vector<Boundary> boundaries_;
  bool begun_ = false;
  std::vector<TriggerSides> beginning_;
  std::size_t passed_ = 0;  // how many levels r has reached
  double rpm_ = 0;
  Nanos now_ = 0;
  Nanos next_expiry_ = std::numeric_limits<Nanos>::max();
  std::vector<TriggerMove> moves_;
};

}  // namespace tachproof
