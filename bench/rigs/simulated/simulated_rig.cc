#include "bench/rigs/simulated/simulated_rig.h"

#include <fmt/format.h>

#include <algorithm>
#include <vector>

#include "bench/rigs/simulated/simulated_unit.h"
#include "bench/rigs/simulated/spells.h"

namespace tachproof {
namespace {

class SimulatedSource : public Source {
 public:
  explicit SimulatedSource(std::shared_ptr<PulseWire> wire) : wire_(std::move(wire)) {}

  SourceFacts facts() const override {
    SourceFacts facts;
    facts.kind = "simulated";
    facts.description = "pulses in virtual time, exact to a nanosecond";
    facts.virtual_time = true;
    return facts;
  }
  void begin() override { *wire_ = {}; }
  void play(const PulseBlock& block) override {
    wire_->pulses.insert(wire_->pulses.end(), block.pulses.begin(), block.pulses.end());
    wire_->played_until = block.until;
  }
  bool can_press(const std::string&) const override { return true; }
  void press(const Press& press, Nanos at) override { wire_->actions.push_back({at, press}); }
  bool can_power() const override { return true; }
  void power_off(Nanos lasts, Nanos at) override { wire_->actions.push_back({at, PowerOff{lasts}}); }
  bool can_supply() const override { return true; }
  void supply(const Supply& supply, Nanos at) override { wire_->actions.push_back({at, supply}); }
  void end() noexcept override { wire_->played_until = never; }

 private:
  std::shared_ptr<PulseWire> wire_;
};

class SimulatedWatcher : public Watcher {
 public:
  SimulatedWatcher(std::shared_ptr<PulseWire> wire, const Gauge& unit, const Behaviour& behaviour,
                   const Gauge& gauge, std::uint64_t seed)
      : wire_(std::move(wire)),
        unit_gauge_(unit),
        behaviour_(behaviour),
        gauge_(gauge),
        seed_(seed),
        unit_(unit, behaviour, gauge, seed) {}

  WatcherFacts facts() const override {
    WatcherFacts facts;
    facts.kind = "simulated";
    facts.description = unit_.describe();
    facts.wired = gauge_.all_channels();
    return facts;
  }
  void begin() override { unit_ = SimulatedUnit(unit_gauge_, behaviour_, gauge_, seed_); }

  Seen collect(Nanos until, std::vector<LampEvent>& out) override {
    until = std::min(until, wire_->played_until);
    for (const Action& action : wire_->actions) unit_.act(action);
    wire_->actions.clear();
    auto& pulses = wire_->pulses;
    const auto reached = std::upper_bound(pulses.begin(), pulses.end(), until);
    unit_.run({pulses.begin(), reached}, until, out);
    pulses.erase(pulses.begin(), reached);
    return {until, 0, {}};
  }

  std::optional<std::string> answer(const Ask& ask) override {
    if (ask.wants != Ask::Wants::peak) return std::nullopt;
    return fmt::format("{}", unit_.peak_rpm());
  }
  void end() noexcept override {}

 private:
  std::shared_ptr<PulseWire> wire_;
  Gauge unit_gauge_;
  Behaviour behaviour_;
  Gauge gauge_;
  std::uint64_t seed_;
  SimulatedUnit unit_;
};

}  // namespace

std::unique_ptr<Watcher> simulated_watcher(std::shared_ptr<PulseWire> wire, const Gauge& unit,
                                           const Behaviour& behaviour, const Gauge& gauge,
                                           std::uint64_t seed) {
  return std::make_unique<SimulatedWatcher>(std::move(wire), unit, behaviour, gauge, seed);
}

Rig simulated_rig(const Gauge& unit, const Behaviour& behaviour, const Gauge& gauge, std::uint64_t seed) {
  const auto wire = std::make_shared<PulseWire>();
  return {std::make_unique<SimulatedSource>(wire),
          std::make_unique<SimulatedWatcher>(wire, unit, behaviour, gauge, seed)};
}

}  // namespace tachproof
