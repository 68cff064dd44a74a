// One supply step, held against what the gauge says the unit may be fed.
#pragma once

#include <optional>
#include <string>

#include "core/base/time.h"
#include "core/base/verdict.h"
#include "core/gauge/buttons.h"
#include "core/signal/profile.h"

namespace tachproof {

struct SupplyMove {
  Supply supply;
  Nanos at = 0;
  Nanos late = 0;        // all of its instants may come this much later
  bool awaited = false;  // a person has been asked to do it, and has not said yet that he has
  Nanos until() const { return at + supply.lasts; }

  // Within the step: when it is first outside what the unit may be fed, and when it is last back inside.
  // Nothing: never; it stays outside, or was never there.
  std::optional<Nanos> outside_from = {}, back_at = {};
  double furthest_v = not_measured;  // the voltage that is furthest outside
  bool ends_outside = false;
  double volts_at(Nanos t) const;
};

SupplyMove supply_move(const Supply& supply, Nanos at, const SupplyRange& range);

// "9.0 V".
std::string volts_text(double volts);

}  // namespace tachproof
