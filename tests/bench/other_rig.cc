#include "tests/bench/other_rig.h"

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>
#include <random>
#include <vector>

#include "bench/rigs/pulse_wire.h"

namespace tachproof {
namespace {

// What a unit makes of its pulses.
class Reading {
 public:
  Reading(Physics physics, double pulses_per_rev, std::mt19937_64& random)
      : physics_(physics), per_pulse_(60 / pulses_per_rev) {
    const auto between = [&](double low, double high) {
      return std::uniform_real_distribution<double>(low, high)(random);
    };
    if (physics == Physics::slow_filter) filter_s_ = between(0.020, 0.060);
    if (physics == Physics::slowest_filter) filter_s_ = between(0.060, 0.095);
    if (physics == Physics::quick_filter) filter_s_ = between(0.005, 0.020);
    if (physics == Physics::nimble_filter) filter_s_ = between(0.010, 0.060);
    gate_s_ = between(0.030, 0.055);
    gate_ends_s_ = between(0, gate_s_);
    loop_rad_ = 2 * std::numbers::pi * between(4, 10);
  }

  void pulse(double at_s) {
    ++pulses_;
    if (pulses_ == 1) {
      last_s_ = gate_from_s_ = at_s;
      return;
    }
    const double dt = at_s - last_s_, x = per_pulse_ / dt;
    if (pulses_ == 2) rpm_ = x;
    follow(x, dt);
    last_s_ = at_s;
  }
  // Pulses until then have been told.
  double at(double now_s) {
    while (physics_ == Physics::gate && gate_ends_s_ <= now_s) {
      // The pulses of the gate that has ended, timed from the last one before it.
      if (in_gate_ > 0) rpm_ = per_pulse_ * in_gate_ / (last_in_gate_s_ - gate_from_s_);
      if (in_gate_ > 0) gate_from_s_ = last_in_gate_s_;
      in_gate_ = later_;
      last_in_gate_s_ = last_s_;
      later_ = 0;
      gate_ends_s_ += gate_s_;
    }
    return rpm_;
  }

 private:
  void follow(double x, double dt) {
    switch (physics_) {
      case Physics::nimble_filter:
        if (std::abs(x - rpm_) > 40) {
          rpm_ = x;
          break;
        }
        [[fallthrough]];
      case Physics::quick_filter:
      case Physics::slow_filter:
      case Physics::slowest_filter: rpm_ += (1 - std::exp(-dt / filter_s_)) * (x - rpm_); break;
      case Physics::gate: {
        const double now = last_s_ + dt;
        if (now <= gate_ends_s_) {
          ++in_gate_;
          last_in_gate_s_ = now;
        } else {
          ++later_;
        }
        break;
      }
      case Physics::tracking_loop: {
        const int steps = static_cast<int>(std::ceil(dt / 0.0005));
        const double h = dt / steps;
        for (int i = 0; i < steps; ++i) {
          loop_v_ += h * (loop_rad_ * loop_rad_ * (x - rpm_) - 1.4 * loop_rad_ * loop_v_);
          rpm_ += h * loop_v_;
        }
        break;
      }
      case Physics::display_20_hz:
      case Physics::apart:
      case Physics::late_lamps:
      case Physics::settling:
      case Physics::one_late: rpm_ = x; break;
    }
  }

  Physics physics_;
  double per_pulse_, filter_s_ = 0, gate_s_ = 0, gate_ends_s_ = 0, loop_rad_ = 0, loop_v_ = 0;
  double rpm_ = 0, last_s_ = 0, gate_from_s_ = 0, last_in_gate_s_ = 0;
  int pulses_ = 0, in_gate_ = 0, later_ = 0;
};

class Unit {
 public:
  Unit(Physics physics, const Gauge& runs, double resolution_rpm, std::uint64_t seed)
      : runs_(runs),
        resolution_rpm_(resolution_rpm),
        random_(seed * 1000 + static_cast<std::uint64_t>(physics)),
        reading_(physics, runs.pulses_per_rev, random_) {
    const auto between = [&](double low, double high) {
      return std::uniform_real_distribution<double>(low, high)(random_);
    };
    every_s_ = physics == Physics::display_20_hz ? 0.050 : 1 / between(50, 200);
    next_s_ = between(0, every_s_);
    const bool slow_up = between(0, 1) < 0.5;
    for (std::size_t b = 0; b < runs.windows.size(); ++b)
      for (int down = 0; down < 2; ++down) {
        double s = 0.003;
        if (physics == Physics::apart) s += (down == 0) == slow_up ? 0.050 : 0;
        if (physics == Physics::late_lamps) s += between(0, 0.030);
        if (physics == Physics::settling) s += between(0, 0.009);
        output_s_.push_back(s);
      }
    if (physics == Physics::one_late)
      output_s_[2 + static_cast<std::size_t>(between(0, static_cast<double>(output_s_.size() - 2)))] += 0.040;
  }

  void pulse(Nanos at, std::vector<LampEvent>& out) {
    decide(to_seconds(at), out);
    reading_.pulse(to_seconds(at));
    heard_ = true;
  }
  void until(Nanos at, std::vector<LampEvent>& out) {
    decide(to_seconds(at), out);
    show(at, out);
  }

 private:
  struct Due {
    Nanos at;
    std::size_t window;
  };

  void decide(double now_s, std::vector<LampEvent>& out) {
    for (; next_s_ <= now_s; next_s_ += every_s_) {
      double rpm = reading_.at(next_s_);
      if (!heard_) continue;
      if (resolution_rpm_ > 0) rpm = std::round(rpm / resolution_rpm_) * resolution_rpm_;
      std::size_t w = window_;
      while (w < runs_.boundaries() && rpm >= runs_.rising_rpm(w + 1)) ++w;
      while (w > 0 && rpm < runs_.falling_rpm(w)) --w;
      if (w == window_) continue;
      const std::size_t way = w > window_ ? 2 * w : 2 * (w + 1) + 1;
      window_ = w;
      Nanos at = from_seconds(next_s_ + output_s_[way]);
      if (!due_.empty()) at = std::max(at, due_.back().at);
      due_.push_back({at, w});
      show(from_seconds(next_s_), out);
    }
  }

  // The lamps up to an instant, blinks included.
  void show(Nanos until, std::vector<LampEvent>& out) {
    std::size_t shown = 0;
    for (; shown < due_.size() && due_[shown].at <= until; ++shown) {
      blink(due_[shown].at, out);
      on_ = due_[shown].window;
      lit_ = true;
      toggles_ = due_[shown].at + half_blink();
      set(due_[shown].at, out);
    }
    due_.erase(due_.begin(), due_.begin() + static_cast<std::ptrdiff_t>(shown));
    blink(until, out);
  }
  Nanos half_blink() const { return runs_.blink ? from_seconds(0.5 / runs_.blink->hz) : ns_per_s; }
  void blink(Nanos until, std::vector<LampEvent>& out) {
    if (runs_.windows[on_].cue.blinking == 0) return;
    for (; toggles_ < until; toggles_ += half_blink()) {
      lit_ = !lit_;
      set(toggles_, out);
    }
  }
  void set(Nanos at, std::vector<LampEvent>& out) {
    const Cue& cue = runs_.windows[on_].cue;
    const Channels lit = cue.steady | (lit_ ? cue.blinking : 0);
    if (lit == last_) return;
    last_ = lit;
    out.push_back({at, lit});
  }

  Gauge runs_;
  double resolution_rpm_;
  std::mt19937_64 random_;
  Reading reading_;
  double every_s_ = 0.01, next_s_ = 0;
  std::vector<double> output_s_;  // by boundary and way
  bool heard_ = false, lit_ = true;
  std::size_t window_ = 0, on_ = 0;
  std::vector<Due> due_;
  Nanos toggles_ = 0;
  Channels last_ = 0;
};

class OtherSource : public Source {
 public:
  explicit OtherSource(std::shared_ptr<PulseWire> wire) : wire_(std::move(wire)) {}
  SourceFacts facts() const override { return {{}, "other", "pulses in virtual time", true}; }
  void begin() override {}
  void play(const PulseBlock& block) override {
    wire_->pulses.insert(wire_->pulses.end(), block.pulses.begin(), block.pulses.end());
    wire_->played_until = block.until;
  }
  bool can_press(const std::string&) const override { return false; }
  void press(const Press&, Nanos) override {}
  void end() noexcept override {}

 private:
  std::shared_ptr<PulseWire> wire_;
};

class OtherWatcher : public Watcher {
 public:
  OtherWatcher(std::shared_ptr<PulseWire> wire, Unit unit, Channels wired)
      : wire_(std::move(wire)), unit_(std::move(unit)), wired_(wired) {}
  WatcherFacts facts() const override { return {{}, "other", "a unit of another physics", wired_, 0}; }
  void begin() override {}
  Seen collect(Nanos until, std::vector<LampEvent>& out) override {
    until = std::min(until, wire_->played_until);
    if (!begun_) out.push_back({0, 0});
    begun_ = true;
    auto& pulses = wire_->pulses;
    const auto reached = std::upper_bound(pulses.begin(), pulses.end(), until);
    for (auto pulse = pulses.begin(); pulse != reached; ++pulse) unit_.pulse(*pulse, out);
    pulses.erase(pulses.begin(), reached);
    unit_.until(until, out);
    return {until, 0, ""};
  }
  void end() noexcept override {}

 private:
  std::shared_ptr<PulseWire> wire_;
  Unit unit_;
  Channels wired_;
  bool begun_ = false;
};

}  // namespace

std::string name(Physics physics) {
  switch (physics) {
    case Physics::quick_filter: return "filter, 5 to 20 ms";
    case Physics::slow_filter: return "filter, 20 to 60 ms";
    case Physics::slowest_filter: return "filter, 60 to 95 ms";
    case Physics::gate: return "gate of 30 to 55 ms";
    case Physics::nimble_filter: return "filter, 10 to 60 ms, but for jumps";
    case Physics::tracking_loop: return "tracking loop";
    case Physics::display_20_hz: return "20 updates a second";
    case Physics::apart: return "50 ms apart up and down";
    case Physics::late_lamps: return "lamps up to 30 ms apart";
    case Physics::settling: return "lamps up to 9 ms apart";
    case Physics::one_late: return "one way 40 ms late";
  }
  return "";
}

Rig other_rig(Physics physics, const Gauge& runs, double resolution_rpm, std::uint64_t seed) {
  const auto wire = std::make_shared<PulseWire>();
  return {
      std::make_unique<OtherSource>(wire),
      std::make_unique<OtherWatcher>(wire, Unit(physics, runs, resolution_rpm, seed), runs.all_channels())};
}

}  // namespace tachproof
