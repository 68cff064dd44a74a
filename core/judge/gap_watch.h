// What is shown between a press and the answer to it: only what the unit may show with its boundaries
// as they were before, or as they are afterwards. The same while a unit that has woken catches up.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/disturbances.h"
#include "core/judge/judge_setup.h"
#include "core/judge/pictures.h"
#include "core/judge/result.h"
#include "core/judge/unit_state.h"
#include "core/signal/profile.h"

namespace tachproof {

class GapWatch {
 public:
  GapWatch(const Gauge& gauge, const JudgeSetup& setup);

  // In time order; the first says what was lit when the gap began.
  void lamps(std::span<const LampEvent> events);

  struct Gap {
    Nanos from = 0, to = 0;
    std::vector<UnitState> states;    // that the unit may be in, before or after
    const std::vector<Segment>* rpm;  // adjoining; from some time before `from` until `to`
    const Disturbances* disturbed;    // then it may show anything
    std::string since;                // "after 'set' was pressed at 71.667 s"
    bool from_below = false;          // its reading begins at 0 rpm: any lower window may come first
  };
  // The first picture that none of them allows.
  std::optional<Finding> strange(const Gap& gap);

 private:
  struct Allowed {
    Nanos from = 0;
    std::size_t lowest = 0, highest = 0;  // windows
  };
  std::vector<Allowed> allowed_in(const UnitState& state, const Gap& gap) const;
  bool shows(std::size_t window, Channels lit) const;
  void take_pictures();

  const Gauge gauge_;
  const JudgeSetup setup_;
  const Channels wired_;
  Pictures pictures_;
  std::vector<LampEvent> shown_;
};

}  // namespace tachproof
