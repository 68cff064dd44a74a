#include "core/judge/supply_move.h"

#include <algorithm>
#include <cmath>

#include "core/base/text.h"

namespace tachproof {
namespace {

double outside_by(double volts, const SupplyRange& range) {
  return std::max(range.lowest_v - volts, volts - range.highest_v);
}

}  // namespace

double SupplyMove::volts_at(Nanos t) const {
  if (supply.lasts <= 0) return supply.to_v;
  const double share = std::clamp(static_cast<double>(t - at) / static_cast<double>(supply.lasts), 0.0, 1.0);
  return supply.from_v + share * (supply.to_v - supply.from_v);
}

SupplyMove supply_move(const Supply& supply, Nanos at, const std::optional<SupplyRange>& range) {
  SupplyMove move;
  move.supply = supply;
  move.at = at;
  if (!range) return move;
  const double from_out = outside_by(supply.from_v, *range), to_out = outside_by(supply.to_v, *range);
  move.ends_outside = to_out > 0;
  if (from_out <= 0 && to_out <= 0) return move;
  move.furthest_v = from_out > to_out ? supply.from_v : supply.to_v;
  // When a ramp passes the limit that this end is beyond.
  const auto passes = [&](double end_v) {
    const double limit = end_v < range->lowest_v ? range->lowest_v : range->highest_v;
    const double share = (limit - supply.from_v) / (supply.to_v - supply.from_v);
    return at + std::llround(share * static_cast<double>(supply.lasts));
  };
  move.outside_from = from_out > 0 ? at : passes(supply.to_v);
  if (!move.ends_outside) move.back_at = passes(supply.from_v);
  return move;
}

std::string volts_text(double volts) { return decimal(volts, 1) + " V"; }

}  // namespace tachproof
