// Faults that show where the unit is fed otherwise.
#include "bench/rigs/simulated/fault_entry.h"

namespace tachproof {
namespace {

void need_supply(const FaultWords& words, const UnitSettings& s) {
  if (!s.gauge.supply) words.refuse_because("needs a gauge that says what it may be fed");
}

void drift(const FaultWords& words, UnitSettings& s) {
  need_supply(words, s);
  const double middle_v = (s.gauge.supply->lowest_v + s.gauge.supply->highest_v) / 2;
  s.drift = {words.number("rpm_per_v"), words.number_or("at_v", middle_v)};
}

void brown_out(const FaultWords& words, UnitSettings& s) {
  need_supply(words, s);
  s.lowest_v = words.number("at_v");
}

void stay_off(const FaultWords& words, UnitSettings& s) {
  need_supply(words, s);
  s.stays_off = true;
}

}  // namespace

std::vector<FaultEntry> supply_faults() {
  return {
      {fault_kind(
           "supply-drift",
           "All boundaries move by so much for each volt; they are as set at at_v, else in the middle of "
           "the gauge's supply.",
           {}, {"rpm_per_v"}, {"at_v"}),
       drift},
      {fault_kind("brown-out", "The unit is off when it is fed less than this.", {}, {"at_v"}), brown_out},
      {fault_kind("no-return", "Off for want of voltage, the unit stays off until its supply is cut."),
       stay_off},
  };
}

}  // namespace tachproof
