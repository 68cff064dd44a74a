// Stands in for bench/rigs/faults.cc until that is here; then this file goes.
#include "bench/rigs/simulated_unit.h"

namespace tachproof {

const std::vector<FaultKind>& fault_catalogue() {
  static const std::vector<FaultKind> catalogue{
      {"boundary-moved", "One boundary sits elsewhere.", {"boundary"}, {"by_rpm"}, {}},
      {"wrong-colour", "A lamp shows another colour.", {"lamp", "colour", "to"}, {}, {}},
  };
  return catalogue;
}

}  // namespace tachproof
