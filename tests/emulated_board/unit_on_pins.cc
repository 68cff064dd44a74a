#include "tests/emulated_board/unit_on_pins.h"

#include <utility>

#include "bench/rigs/board/board.h"

namespace tachproof {

std::vector<ResolvedWire> one_input_each(const Gauge& gauge) {
  std::vector<ResolvedWire> wires;
  for (const Lamp& lamp : gauge.lamps)
    for (const std::string& colour : lamp.colours)
      wires.push_back({"in" + std::to_string(wires.size()), gauge.channel(lamp.id, colour)});
  return wires;
}

UnitOnPins::UnitOnPins(SimulatedUnit unit, std::vector<ResolvedWire> wires, bool active_high)
    : unit_(std::move(unit)), wires_(std::move(wires)), active_high_(active_high) {}

void UnitOnPins::run(std::span<const Nanos> pulses, Nanos until, std::vector<PinLevels>& out) {
  events_.clear();
  unit_.run(pulses, until, events_);
  for (const LampEvent& event : events_) {
    unsigned levels = 0;
    for (const ResolvedWire& wire : wires_) {
      const bool lit = (event.lit & wire.lights) != 0;
      if (lit == active_high_) levels |= 1u << board_input(wire.channel).value();
    }
    out.push_back({cycles_of(event.at), static_cast<std::uint8_t>(levels)});
  }
}

}  // namespace tachproof
