#include "bench/rigs/simulated/simulated_unit.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <cmath>
#include <deque>

#include "bench/rigs/simulated/counter_random.h"
#include "bench/rigs/simulated/faults.h"
#include "bench/rigs/simulated/lamp_driver.h"
#include "bench/rigs/simulated/period_meter.h"
#include "bench/rigs/simulated/unit_buttons.h"
#include "bench/rigs/simulated/unit_power.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "bench/rigs/simulated/window_logic.h"

namespace tachproof {
namespace {

UnitSettings settings_of(const Gauge& gauge, const Behaviour& behaviour) {
  UnitSettings settings = healthy_settings(gauge, behaviour);
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
        power_(settings_, seed),
        buttons_(settings_),
        driver_(settings_, as_seen, buttons_.share(), seed),
        dropped_(seed, 4) {
    if (settings_.update_hz > 0) {
      update_ns_ = 1e9 / settings_.update_hz;
      update_phase_ns_ = random_.uniform(1) * update_ns_;
    }
  }

  void run(std::span<const Nanos> pulses, Nanos until, std::vector<LampEvent>& out) {
    meter_.take(pulses);
    for (;;) {
      const Nanos pressed = presses_.empty() ? never : presses_.front().at;
      if (std::min(power_.next(), pressed) > until) break;
      if (power_.next() <= pressed) {
        change_power();
      } else {
        press(presses_.front());
        presses_.pop_front();
      }
    }
    live_until(until);
    driver_.run(until, out);
  }

  void act(const Action& action) {
    if (const Press* press = std::get_if<Press>(&action.what)) presses_.push_back({action.at, press->action});
    if (const PowerOff* off = std::get_if<PowerOff>(&action.what)) power_.cut(action.at, off->lasts);
    if (const Supply* supply = std::get_if<Supply>(&action.what)) power_.feed(*supply, action.at);
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
  struct Pressed {
    Nanos at;
    std::string button;
  };

  void change_power() {
    const Nanos at = power_.next();
    live_until(power_.runs() ? at - 1 : at);
    const UnitPower::State was = power_.state();
    if (power_.pass()) lose_power(at);
    if (power_.state() == was) return;
    if (power_.state() == UnitPower::State::greeting) driver_.greet(at, buttons_.share());
    if (power_.state() == UnitPower::State::awake) driver_.wake(at, buttons_.share());
  }

  void lose_power(Nanos at) {
    driver_.power_off(at);
    buttons_.lose_power();
    set_gauge();
    logic_.forget(buttons_.keeps_peak());
  }

  void press(const Pressed& press) {
    live_until(press.at);
    if (power_.state() != UnitPower::State::awake) return;
    switch (buttons_.press(press.button, press.at, logic_.believed_rpm())) {
      case UnitButtons::Effect::none: break;
      case UnitButtons::Effect::settings:
        set_gauge();
        logic_.settings_changed();
        break;
      case UnitButtons::Effect::dimmed: driver_.dim(press.at, buttons_.share()); break;
      case UnitButtons::Effect::peak_cleared: logic_.clear_peak(); break;
    }
  }

  void set_gauge() {
    settings_.gauge = buttons_.gauge();
    for (std::size_t w = 1; w < settings_.gauge.windows.size(); ++w)
      settings_.gauge.windows[w].from_rpm += drifted_rpm_;
  }

  // Its boundaries move with what it is fed.
  void follow_supply(Nanos at) {
    const double volts = power_.volts_at(at);
    const double rpm = std::isnan(volts) ? 0 : settings_.drift.rpm_per_v * (volts - settings_.drift.at_v);
    if (rpm == drifted_rpm_) return;
    drifted_rpm_ = rpm;
    set_gauge();
    logic_.settings_changed();
  }

  void live_until(Nanos until) {
    if (power_.runs()) {
      read_until(until);
    } else {
      sleep_until(until);
    }
  }

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
        remember(lost);
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
    if (settings_.drift.rpm_per_v != 0) follow_supply(at);
    if (settings_.dropped_share > 0 && dropped_.uniform(updates_) < settings_.dropped_share) return;
    // A pulse after a lost signal makes no reading yet: it stays 0.
    const MeterReading measured = meter_.latest();
    const bool moved = measured.periods == 0 || at >= meter_.lost_after()
                           ? logic_.signal_lost(at)
                           : logic_.consider(measured, at, updates_);
    if (moved) driver_.decide(at, logic_.window());
    remember(at);
  }

  void remember(Nanos at) {
    if (buttons_.remembers()) buttons_.believes(at, logic_.believed_rpm());
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
  UnitPower power_;
  UnitButtons buttons_;
  LampDriver driver_;
  std::deque<Pressed> presses_;
  CounterRandom dropped_;
  double update_ns_ = 0;
  double update_phase_ns_ = 0;
  std::uint64_t updates_ = 0;
  Nanos lost_told_ = 0;
  double drifted_rpm_ = 0;
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
void SimulatedUnit::act(const Action& action) { impl_->act(action); }
double SimulatedUnit::peak_rpm() const { return impl_->peak_rpm(); }
std::string SimulatedUnit::describe() const { return impl_->describe(); }

}  // namespace tachproof
