// Stands in for bench/rigs/faults.cc until that is here; then this file goes.
#include "bench/rigs/simulated_unit.h"

namespace tachproof {

const std::vector<FaultKind>& fault_catalogue() {
  static const std::vector<FaultKind> catalogue{
      {"boundary-moved", "", {"boundary"}, {"by_rpm"}, {}, {}},
      {"count-in-uneven", "", {"boundary"}, {"by_rpm"}, {}, {}},
      {"deadband-missing", "", {}, {}, {}, {}},
      {"deadband-width", "", {}, {"rpm"}, {}, {}},
      {"deadband-side", "", {"sits"}, {}, {}, {}},
      {"over-rev-missing", "", {}, {}, {}, {}},
      {"wrong-colour", "", {"lamp", "to"}, {}, {}, {"window", "colour"}},
      {"swapped-lamps", "", {"lamp", "with"}, {}, {}, {}},
      {"stuck-on", "", {"lamp", "colour"}, {}, {}, {}},
      {"stuck-off", "", {"lamp"}, {}, {}, {"colour"}},
      {"blink-absent", "", {}, {}, {}, {"window"}},
      {"blink-rate", "", {}, {"hz"}, {}, {}},
      {"blink-duty", "", {}, {"duty"}, {}, {}},
      {"wrong-pulses-per-rev", "", {}, {"pulses_per_rev"}, {}, {}},
      {"slow-filter", "", {}, {"ms"}, {}, {}},
      {"slow-response", "", {}, {"ms"}, {}, {}},
      {"dropped-updates", "", {}, {"share"}, {}, {}},
      {"noisy-reading", "", {}, {"rpm"}, {}, {}},
      {"intermittent-lamp", "", {"lamp"}, {"per_min"}, {"for_ms"}, {}},
      {"freeze", "", {}, {"at_s"}, {"for_s"}, {}},
      {"reset", "", {}, {"at_s"}, {"boot_ms"}, {}},
  };
  return catalogue;
}

}  // namespace tachproof
