// A simulated unit wired to the emulated board, as a wiring block says.
#pragma once

#include <vector>

#include "bench/files/files.h"
#include "bench/rigs/simulated/simulated_unit.h"
#include "tests/emulated_board/emulated_board.h"

namespace tachproof {

// in0, in1, ... for the gauge's channels in their order.
std::vector<ResolvedWire> one_input_each(const Gauge& gauge);

class UnitOnPins : public WiredUnit {
 public:
  // `wires`: "in0" to "in7" and what they light.
  UnitOnPins(SimulatedUnit unit, std::vector<ResolvedWire> wires, bool active_high = true);

  void run(std::span<const Nanos> pulses, Nanos until, std::vector<PinLevels>& out) override;

 private:
  SimulatedUnit unit_;
  std::vector<ResolvedWire> wires_;
  bool active_high_;
  std::vector<LampEvent> events_;
};

}  // namespace tachproof
