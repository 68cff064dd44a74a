// What a profile with presses and losses of power demands of a unit, from one state to the next.
#pragma once

#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/judge/expectation.h"
#include "core/judge/state_judge.h"
#include "core/judge/unit_state.h"
#include "core/signal/profile.h"

namespace tachproof {

// An action of this profile changes what a unit of this gauge does.
bool changes_states(const Gauge& gauge, const Profile& profile);

struct ExpectedState {
  UnitState state;
  Nanos from = 0;           // the press, or the cut
  Nanos answered_from = 0;  // from then on the unit must do as the state says
  Nanos to = 0;
  ExpectedRun run;  // of answered_from..to; empty where nobody can say what the unit does
};
// In time order; one, without a name, where nothing is pressed.
std::vector<ExpectedState> expect_states(const Gauge& gauge, const Profile& profile,
                                         const ExpectationOptions& options = {});

// Tells the judge all that the profile does, in order.
void tell(StateJudge& judge, const Profile& profile);

}  // namespace tachproof
