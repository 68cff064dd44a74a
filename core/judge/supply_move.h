// One supply step, held against what the gauge says the unit may be fed.
#pragma once

#include <algorithm>
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
  Nanos late = 0;        // all of its instants may come this much later,
  Nanos early = 0;       // and all but its first this much sooner
  bool awaited = false;  // a person has been asked to do it, and has not said yet that he has
  Nanos until() const { return at + supply.lasts; }

  // Within the step: when it is first outside what the unit may be fed, and when it is last back inside.
  // Nothing: never; it stays outside, or was never there.
  std::optional<Nanos> outside_from = {}, back_at = {};
  double furthest_v = not_measured;  // the voltage that is furthest outside
  bool ends_outside = false;
  std::optional<Nanos> may_be_outside_from() const {
    if (!outside_from) return std::nullopt;
    return std::max(at, *outside_from - early);
  }
  double volts_at(Nanos t) const;
  // From then on the voltage stays what it is set to.
  Nanos still_from() const { return (supply.from_v == supply.to_v ? at : until()) + late; }
};

// `range`: what the unit may be fed; nothing: anything.
SupplyMove supply_move(const Supply& supply, Nanos at, const std::optional<SupplyRange>& range);

// "9.0 V".
std::string volts_text(double volts);

}  // namespace tachproof
