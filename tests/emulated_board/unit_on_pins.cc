#include "tests/emulated_board/unit_on_pins.h"

#include <utility>

#include "bench/firmware/protocol.h"
#include "bench/rigs/board/board.h"

namespace tachproof {

std::vector<ResolvedWire> one_input_each(const Gauge& gauge) {
  std::vector<ResolvedWire> wires;
  for (const Lamp& lamp : gauge.lamps)
    for (const std::string& colour : lamp.colours)
      wires.push_back({"in" + std::to_string(wires.size()), gauge.channel(lamp.id, colour)});
  return wires;
}

UnitOnPins::UnitOnPins(SimulatedUnit unit, std::vector<ResolvedWire> wires, bool active_high,
                       std::vector<std::string> buttons)
    : unit_(std::move(unit)),
      wires_(std::move(wires)),
      active_high_(active_high),
      buttons_(std::move(buttons)) {}

void UnitOnPins::outputs(const PinLevels& change) {
  const Nanos at = nanos_of(change.at);
  const unsigned rising = change.levels & ~outputs_;
  for (std::size_t i = 0; i < buttons_.size() && i < 2; ++i)
    if ((rising & (unsigned{link_output_press_1} << i)) != 0) unit_.act({at, Press{buttons_[i], 0}});
  const bool off = (change.levels & link_output_supply_off) != 0;
  if (off != ((outputs_ & link_output_supply_off) != 0)) switch_supply(!off, at);
  outputs_ = change.levels;
}

void UnitOnPins::press(const std::string& button) { unit_.act({ran_until_ + 1, Press{button, 0}}); }
void UnitOnPins::supply_is_on(bool on) { switch_supply(on, ran_until_ + 1); }

void UnitOnPins::switch_supply(bool on, Nanos at) {
  if (!on) {
    off_from_ = at;
  } else {
    cut_until(at);
    off_from_.reset();
  }
}

// For how long the supply is cut is known bit by bit only; each overlaps the one before.
void UnitOnPins::cut_until(Nanos t) {
  if (off_from_ && t > *off_from_) unit_.act({*off_from_, PowerOff{t - *off_from_}});
}

void UnitOnPins::run(std::span<const Nanos> pulses, Nanos until, std::vector<PinLevels>& out) {
  cut_until(until + 2);
  if (off_from_) off_from_ = until + 1;
  ran_until_ = until;
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
