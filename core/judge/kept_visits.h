// The visits that a judge keeps for the fit of thresholds.
//
// A visit counts where the profile had kept its rate for every response that is allowed. In a survey one
// that was led in for less counts too, where the unit's answers to jumps say that it had forgotten what was
// before (core/judge/jump_memory.h).
#pragma once

#include <cstddef>
#include <deque>
#include <optional>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/judge_setup.h"
#include "core/judge/jump_memory.h"
#include "core/judge/rpm_history.h"
#include "core/judge/verdicts.h"
#include "core/judge/visit.h"

namespace tachproof {

class KeptVisits {
 public:
  KeptVisits(const Gauge& gauge, const JudgeSetup& setup);

  // A change that is dated. A run of many crossings stays small and quick: only those that the fit takes are
  // followed back in time.
  void add(const SeenTransition& seen, const RpmHistory& history);
  // The lamps went from one window's picture to another's, in time order.
  void changed(Nanos at, const RpmHistory& history);
  // In the order in which they came, those of a short lead last.
  std::vector<Visit> all() const;
  JumpMemory memory() const;

 private:
  struct Jump {  // that was answered `at`, in the hold that began at `since`
    Nanos at = 0, since = 0;
    double left = 1, pulse_s = 0;
  };
  struct Change {
    Nanos at = 0, since = 0;  // of the hold that it came in
  };
  bool swung(const Change& change, const Jump& jump) const;
  void take_jump(const SeenTransition& seen, const RpmHistory& history);
  void take_ramp(const Visit& visit, double nominal_rpm);

  const Gauge& gauge_;
  Nanos slack_;  // between lamps of one change
  double from_s_, to_s_, rpm_noise_;
  bool takes_short_;
  std::vector<Visit> visits_, short_;
  std::vector<std::size_t> count_, short_count_;  // by boundary and direction
  JumpMemory memory_;
  std::optional<Jump> last_jump_;  // the lamps may still change again in its hold
  std::deque<Change> changes_;     // the last few
};

}  // namespace tachproof
