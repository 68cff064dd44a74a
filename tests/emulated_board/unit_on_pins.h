// A simulated unit wired to the emulated board, as a wiring block says.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "bench/rigs/simulated/simulated_unit.h"
#include "tests/emulated_board/emulated_board.h"

namespace tachproof {

// in0, in1, ... for the gauge's channels in their order.
std::vector<ResolvedWire> one_input_each(const Gauge& gauge);

class UnitOnPins : public WiredUnit {
 public:
  // `wires`: "in0" to "in7" and what they light. `buttons`: what the outputs press-1 and press-2 press; the
  // unit hangs from the output for its supply too, whose switch takes no time.
  UnitOnPins(SimulatedUnit unit, std::vector<ResolvedWire> wires, bool active_high = true,
             std::vector<std::string> buttons = {});

  void run(std::span<const Nanos> pulses, Nanos until, std::vector<PinLevels>& out) override;
  void outputs(const PinLevels& change) override;

  // A hand at the unit itself, now; and what its dial shows.
  void press(const std::string& button);
  void supply_is_on(bool on);
  double peak_rpm() const { return unit_.peak_rpm(); }

 private:
  void cut_until(Nanos t);
  void switch_supply(bool on, Nanos at);

  SimulatedUnit unit_;
  std::vector<ResolvedWire> wires_;
  bool active_high_;
  std::vector<std::string> buttons_;
  std::uint8_t outputs_ = 0;
  Nanos ran_until_ = 0;
  std::optional<Nanos> off_from_;  // the unit has been told of its cut until then
  std::vector<LampEvent> events_;
};

}  // namespace tachproof
