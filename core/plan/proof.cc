#include "core/plan/proof.h"

#include <algorithm>
#include <cmath>

#include "core/base/rpm.h"
#include "core/base/verdict.h"

namespace tachproof {
namespace {

// The same threshold at two rates tells how far visits scatter, and the response apart.
constexpr double quicker = 1.5;

// To a hundredth of an rpm, to a millisecond, and to three digits of a rate: as files are read.
Nanos round_up(Nanos t) { return (t + ns_per_ms - 1) / ns_per_ms * ns_per_ms; }
double round_rate(double rate) {
  const double digit = std::pow(10, std::floor(std::log10(rate)) - 2);
  return std::floor(rate / digit) * digit;
}

Nanos settled(const Gauge& gauge) { return gauge.tolerance.response_to + gauge.tolerance.settle; }

// Lamps of both sides differ by blinking alone, so a side is known only after the longer phase.
bool by_blink_alone(const Gauge& gauge, std::size_t b) {
  const Cue &below = gauge.windows[b - 1].cue, &above = gauge.windows[b].cue;
  return (below.steady | below.blinking) == (above.steady | above.blinking) && !(below == above);
}
double longest_phase_s(const Gauge& gauge) {
  return gauge.blink ? std::max(gauge.blink->duty, 1 - gauge.blink->duty) / gauge.blink->hz : 0;
}

// Ramps across boundaries that are crossed in one go: first..last.
struct Crossing {
  std::size_t first = 0, last = 0;
  double from = 0, to = 0, rate = 0;
};

class Proof {
 public:
  Proof(const Gauge& gauge, const ProofShape& shape) : gauge_(gauge), shape_(shape) {
    const double lowest = gauge.falling_rpm(1);
    floor_ = 0.4 * lowest;
    ceiling_ = max_rpm;
    const std::size_t n = gauge.boundaries();
    bottom_ = hundredths(std::max(floor_, lowest - 2 * reach(1) - 20));
    top_ = hundredths(std::min(ceiling_, gauge.rising_rpm(n) + 2 * reach(n) + 20));
  }

  std::vector<ProofPart> all() {
    parts_.push_back(
        {"at rest, below every boundary", {Hold{bottom_, round_up(ns_per_s / 2 + settled(gauge_))}}});
    if (gauge_.windows[0].cue.blinking != 0) parts_.back().steps.push_back(Hold{bottom_, blinking()});
    for (int pass = 0; pass < shape_.passes; ++pass) {
      times_ = pass % 2 == 0 ? 1 : quicker;
      for (const Crossing& crossing : crossings(Direction::rising)) cross(crossing, Direction::rising, pass);
      rest_at_the_top(pass);
      for (const Crossing& crossing : crossings(Direction::falling))
        cross(crossing, Direction::falling, pass);
    }
    jump();
    return std::move(parts_);
  }

 private:
  // How far from its threshold a ramp begins and ends: the change is demanded there, and the rate
  // is kept for every response that is allowed.
  double reach(std::size_t b) const {
    const double rate = rate_of(b), slack = std::max(0.3, 0.35 * gauge_.tolerance.rpm);
    const double waits = by_blink_alone(gauge_, b) ? longest_phase_s(gauge_) : 0;
    return gauge_.tolerance.rpm + slack + rate * (1.1 * to_seconds(settled(gauge_)) + 0.01 + waits);
  }
  // Low down there is no room for a fast ramp.
  double rate_of(std::size_t b) const {
    const double room = 0.3 * gauge_.falling_rpm(1) / (1.1 * to_seconds(settled(gauge_)) + 0.01);
    return round_rate(std::min(times_ * shape_.rate_rpm_per_s[b], std::max(room, 0.1)));
  }
  Nanos blinking() const {
    return round_up(settled(gauge_) + from_seconds(shape_.blinks / gauge_.blink->hz));
  }

  // In the order in which they are met.
  std::vector<Crossing> crossings(Direction direction) const {
    const bool rising = direction == Direction::rising;
    std::vector<Crossing> all;
    for (std::size_t b = 1; b <= gauge_.boundaries(); ++b) {
      const double at = rising ? gauge_.rising_rpm(b) : gauge_.falling_rpm(b);
      const double low = std::max(at - reach(b), floor_), high = std::min(at + reach(b), ceiling_);
      if (!all.empty() && low < all.back().to) {
        all.back().to = high;
        all.back().last = b;
        all.back().rate = std::min(all.back().rate, rate_of(b));
      } else {
        all.push_back({b, b, low, high, rate_of(b)});
      }
    }
    for (Crossing& c : all) {
      c.from = hundredths(c.from);
      c.to = hundredths(c.to);
      if (!rising) std::swap(c.from, c.to);
    }
    if (!rising) std::reverse(all.begin(), all.end());
    return all;
  }

  std::string names(const Crossing& c) const {
    const std::string first = gauge_.windows[c.first].name, last = gauge_.windows[c.last].name;
    return c.first == c.last ? first : first + " to " + last;
  }

  void cross(const Crossing& c, Direction direction, int pass) {
    const bool rising = direction == Direction::rising;
    const Window& before = gauge_.windows[rising ? c.first - 1 : c.last];
    const bool blinks = pass == 0 && rising && before.cue.blinking != 0 && c.first > 1;
    parts_.push_back({(rising ? "into " : "out of ") + names(c),
                      {Hold{c.from, blinks ? blinking() : round_up(shape_.rest)}, RampByRate{c.to, c.rate}}});
  }

  void rest_at_the_top(int pass) {
    const Window& highest = gauge_.windows.back();
    const Nanos lasts = pass == 0 && highest.cue.blinking != 0 ? blinking() : round_up(shape_.rest);
    parts_.push_back({"at rest in " + highest.name, {Hold{top_, lasts}}});
  }

  // Rests of unlike lengths, so that jumps meet the unit's updates at other phases.
  void jump() {
    ProofPart part{"jumps over all boundaries: the response", {}};
    Nanos odd = 0;
    part.steps.push_back(Hold{bottom_, round_up(shape_.jump_rest)});
    for (int i = 0; i < shape_.jumps; ++i)
      for (const double rpm : {top_, bottom_}) {
        odd += 7 * ns_per_ms;
        part.steps.push_back(Hold{rpm, round_up(shape_.jump_rest) + odd % (23 * ns_per_ms)});
      }
    parts_.push_back(std::move(part));
  }

  const Gauge& gauge_;
  const ProofShape& shape_;
  double times_ = quicker;  // the rates of this pass, by the shape's
  double floor_ = 0, ceiling_ = 0, bottom_ = 0, top_ = 0;
  std::vector<ProofPart> parts_;
};

}  // namespace

ProofShape proof_shape(const Gauge& gauge, double share) {
  ProofShape shape;
  const double tolerance = std::max(gauge.tolerance.rpm, 0.1);
  const double response_s = std::max(to_seconds(gauge.tolerance.response_to), 0.02);
  shape.rate_rpm_per_s.assign(gauge.windows.size(), share * tolerance / response_s);
  for (std::size_t b = 1; b < gauge.windows.size(); ++b)
    if (by_blink_alone(gauge, b))
      shape.rate_rpm_per_s[b] =
          std::min(shape.rate_rpm_per_s[b], 0.6 * share * tolerance / longest_phase_s(gauge));
  shape.passes = 2;
  shape.rest = settled(gauge) + 250 * ns_per_ms;
  shape.blinks = 10;
  shape.jumps = 4;
  shape.jump_rest = 2 * settled(gauge) + 250 * ns_per_ms;
  return shape;
}

std::vector<ProofPart> proof_parts(const Gauge& gauge, const ProofShape& shape) {
  if (gauge.boundaries() == 0) return {};
  return Proof(gauge, shape).all();
}

std::vector<Step> steps_of(const std::vector<ProofPart>& parts) {
  std::vector<Step> steps;
  for (const ProofPart& part : parts) steps.insert(steps.end(), part.steps.begin(), part.steps.end());
  return steps;
}

}  // namespace tachproof
