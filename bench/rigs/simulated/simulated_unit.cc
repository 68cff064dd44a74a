#include "bench/rigs/simulated/simulated_unit.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <cmath>

#include "bench/rigs/simulated/counter_random.h"
#include "bench/rigs/simulated/faults.h"
#include "bench/rigs/simulated/lamp_driver.h"
#include "bench/rigs/simulated/period_meter.h"
#include "bench/rigs/simulated/spells.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "bench/rigs/simulated/window_logic.h"

namespace tachproof {
namespace {

UnitSettings settings_of(const Gauge& gauge, const Behaviour& behaviour) {
  UnitSettings settings = healthy_settings(gauge, behaviour);
  settings.unpowered.push_back({0, settings.boot});
  for (const FaultSetting& fault : behaviour.faults) apply_fault(fault, settings);
  return settings;
}

}  // namespace

class SimulatedUnit::Impl {
 public:
  Impl(const Gauge& gauge, const Behaviour& behaviour, const Gauge& as_seen, std::uint64_t seed)
      : settings_(settings_of(gauge, behaviour)),
        faults_(behaviour.faults),
        random_(seed, 3),
        meter_(settings_, random_.uniform(0)),
        logic_(settings_, seed),
        driver_(settings_, as_seen, seed),
        unpowered_(settings_.unpowered),
        dropped_(seed, 4) {
    if (settings_.update_hz > 0) {
      update_ns_ = 1e9 / settings_.update_hz;
      update_phase_ns_ = random_.uniform(1) * update_ns_;
    }
  }

  void run(std::span<const Nanos> pulses, Nanos until, std::vector<LampEvent>& out) {
    meter_.take(pulses);
    while (unpowered_.next() <= until) {
      if (!unpowered_.inside()) {
        read_until(unpowered_.next() - 1);
        logic_.forget();
      } else {
        sleep_until(unpowered_.next());
      }
      unpowered_.pass();
    }
    if (!unpowered_.inside()) read_until(until);
    driver_.run(until, out);
  }

  double peak_rpm() const { return logic_.peak_rpm(); }

  std::string describe() const {
    std::string text = fmt::format("response {} ms, ", to_ms(settings_.response));
    if (settings_.averaging > 0) {
      text += fmt::format("average over {} ms, ", to_ms(settings_.averaging));
    } else if (settings_.averaging_pulses == 1) {
      text += "no averaging, ";
    } else {
      text += fmt::format("average of {} pulses, ", settings_.averaging_pulses);
    }
    text += settings_.update_hz > 0 ? fmt::format("{} updates a second, ", settings_.update_hz)
                                    : std::string("an update at every pulse, ");
    text += settings_.resolution_rpm > 0 ? fmt::format("resolution {} rpm; ", settings_.resolution_rpm)
                                         : std::string("no rounding; ");
    std::vector<std::string> faults;
    for (const FaultSetting& fault : faults_) faults.push_back(tachproof::describe(fault));
    return text + (faults.empty() ? "no faults" : fmt::format("faults: {}", fmt::join(faults, ", ")));
  }

 private:
  void read_until(Nanos until) {
    if (settings_.update_hz > 0) {
      read_at_updates(until);
    } else {
      read_at_pulses(until);
    }
  }

  void read_at_updates(Nanos until) {
    for (Nanos at = update_at(updates_); at <= until; at = update_at(++updates_)) {
      meter_.capture_until(at);
      update(at);
    }
  }

  void read_at_pulses(Nanos until) {
    for (;;) {
      const Nanos pulse = meter_.next_pulse();
      const Nanos lost = meter_.lost_after();
      if (lost > lost_told_ && lost <= until && lost < pulse) {
        lost_told_ = lost;
        if (logic_.signal_lost(lost)) driver_.decide(lost, logic_.window());
      } else if (pulse <= until) {
        meter_.capture_until(pulse);
        update(pulse);
        ++updates_;
      } else {
        return;
      }
    }
  }

  void update(Nanos at) {
    if (settings_.dropped_share > 0 && dropped_.uniform(updates_) < settings_.dropped_share) return;
    // A pulse after a lost signal makes no reading yet: it stays 0.
    const MeterReading measured = meter_.latest();
    const bool moved = measured.periods == 0 || at >= meter_.lost_after()
                           ? logic_.signal_lost(at)
                           : logic_.consider(measured, at, updates_);
    if (moved) driver_.decide(at, logic_.window());
  }

  // Without supply or booting: pulses and updates pass unnoticed.
  void sleep_until(Nanos t) {
    meter_.capture_until(t);
    meter_.forget();
    if (settings_.update_hz > 0)
      while (update_at(updates_) <= t) ++updates_;
  }

  Nanos update_at(std::uint64_t index) const {
    return static_cast<Nanos>(update_phase_ns_ + static_cast<double>(index) * update_ns_);
  }

  UnitSettings settings_;
  std::vector<FaultSetting> faults_;
  CounterRandom random_;
  PeriodMeter meter_;
  WindowLogic logic_;
  LampDriver driver_;
  SpellWalk unpowered_;
  CounterRandom dropped_;
  double update_ns_ = 0;
  double update_phase_ns_ = 0;
  std::uint64_t updates_ = 0;
  Nanos lost_told_ = 0;
};

SimulatedUnit::SimulatedUnit(const Gauge& gauge, const Behaviour& behaviour, const Gauge& as_seen,
                             std::uint64_t seed)
    : impl_(std::make_unique<Impl>(gauge, behaviour, as_seen, seed)) {}
SimulatedUnit::~SimulatedUnit() = default;
SimulatedUnit::SimulatedUnit(SimulatedUnit&&) noexcept = default;
SimulatedUnit& SimulatedUnit::operator=(SimulatedUnit&&) noexcept = default;

void SimulatedUnit::run(std::span<const Nanos> pulses, Nanos until, std::vector<LampEvent>& out) {
  impl_->run(pulses, until, out);
}
double SimulatedUnit::peak_rpm() const { return impl_->peak_rpm(); }
std::string SimulatedUnit::describe() const { return impl_->describe(); }

}  // namespace tachproof
