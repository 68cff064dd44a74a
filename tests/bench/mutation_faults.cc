// What is done to a unit that should be as its gauge file says.
#include <algorithm>
#include <cmath>
#include <functional>
#include <map>

#include "bench/rigs/simulated/unit_settings.h"
#include "tests/bench/mutation.h"
#include "tests/bench/mutation_oracle.h"

namespace tachproof {
namespace {

// From just outside to gross, a third of them near 1.
double draw_magnitude(Dice& dice) {
  return dice.chance(0.4) ? dice.log_between(1.05, 1.5) : dice.log_between(1.5, 30);
}

class Hand {
 public:
  Hand(MutationPair& pair, const std::string& kind, Dice& dice)
      : pair_(pair), gauge_(pair.gauge), dice_(dice), magnitude_(draw_magnitude(dice)) {
    fault_.kind = kind;
  }

  // What by_rpm, rpm and the like are drawn to exceed.
  double limit_rpm() const { return gauge_.tolerance.rpm + unit_uncertainty_rpm(pair_); }

  void moved_boundary() { number("by_rpm", dice_.sign() * magnitude_ * limit_rpm(), boundary(1)); }
  void uneven_count_in() {
    std::vector<std::size_t> steps;
    for (std::size_t w = 1; w < gauge_.windows.size(); ++w)
      if (gauge_.windows[w].name.starts_with("count-in-")) steps.push_back(w);
    if (!steps.empty())
      number("by_rpm", dice_.sign() * magnitude_ * limit_rpm(), steps[dice_.index(steps.size())]);
  }
  void no_deadband() {
    magnitude_ = 0;
    add();
  }
  void deadband_width() {
    const double times = gauge_.deadband.sits == Sits::centred ? 2 : 1;
    double width = gauge_.deadband.rpm + dice_.sign() * magnitude_ * times * limit_rpm();
    if (width < 0) width = gauge_.deadband.rpm + magnitude_ * times * limit_rpm();
    fault_.numbers["rpm"] = width;
    add();
  }
  void deadband_side() {
    const char* const sides[] = {"below", "centred", "above"};
    fault_.words["sits"] = sides[dice_.index(3)];
    magnitude_ = 0;
    add();
  }
  void whole() {
    magnitude_ = 0;
    add();
  }
  void wrong_colour() {
    const Lamp& lamp = any_lamp();
    if (lamp.colours.size() < 2) return;
    fault_.words = {{"lamp", lamp.id}, {"to", lamp.colours[dice_.index(lamp.colours.size())]}};
    if (dice_.chance(0.5)) fault_.words["window"] = gauge_.windows[dice_.index(gauge_.windows.size())].name;
    whole();
  }
  void swapped() {
    fault_.words = {{"lamp", any_lamp().id}, {"with", any_lamp().id}};
    if (fault_.words["lamp"] != fault_.words["with"]) whole();
  }
  void stuck(bool on) {
    const Lamp& lamp = any_lamp();
    fault_.words["lamp"] = lamp.id;
    if (on || dice_.chance(0.5)) fault_.words["colour"] = lamp.colours[dice_.index(lamp.colours.size())];
    whole();
  }
  void no_blink() {
    if (dice_.chance(0.5)) fault_.words["window"] = gauge_.windows[dice_.index(gauge_.windows.size())].name;
    whole();
  }
  void blink_rate() {
    const double off = dice_.sign() * magnitude_ * gauge_.tolerance.blink_hz;
    fault_.numbers["hz"] = gauge_.blink->hz + (gauge_.blink->hz + off > 0.05 ? off : -off);
    add();
  }
  void blink_duty() {
    const double off = dice_.sign() * magnitude_ * gauge_.tolerance.blink_duty;
    const double duty = gauge_.blink->duty + off;
    if (duty <= 0 || duty >= 1) return;
    fault_.numbers["duty"] = duty;
    add();
  }
  void pulses_per_rev() {
    const double top = gauge_.windows.back().from_rpm;
    const double share = magnitude_ * limit_rpm() / top;
    fault_.numbers["pulses_per_rev"] = gauge_.pulses_per_rev * (1 + std::min(share, 0.9) * dice_.sign());
    add();
  }
  void slow_filter() {
    fault_.numbers["ms"] = magnitude_ * to_ms(gauge_.tolerance.response_to);
    add();
  }
  void slow_response() {
    fault_.numbers["ms"] = magnitude_ * to_ms(gauge_.tolerance.response_to);
    add();
  }
  void dropped_updates() {
    fault_.numbers["share"] = dice_.between(0.9, 0.9999);
    whole();
  }
  void noisy() {
    fault_.numbers["rpm"] = magnitude_ * gauge_.tolerance.rpm;
    add();
  }
  void loose_lamp() {
    fault_.words["lamp"] = any_lamp().id;
    fault_.numbers = {{"per_min", dice_.log_between(20, 600)}, {"for_ms", dice_.log_between(60, 500)}};
    whole();
  }
  void frozen() {
    const double lasts = to_seconds(Profile(acceptance_steps(gauge_)).duration());
    fault_.numbers = {{"at_s", dice_.between(0.05, 0.9) * lasts}};
    if (dice_.chance(0.8)) fault_.numbers["for_s"] = dice_.log_between(0.5, lasts);
    whole();
  }
  void reset() {
    const double lasts = to_seconds(Profile(acceptance_steps(gauge_)).duration());
    fault_.numbers = {{"at_s", dice_.between(0.01, 0.99) * lasts}, {"boot_ms", dice_.log_between(40, 1000)}};
    whole();
  }

  // ---- settings ----
  void anchor_moved() {
    const bool upper = dice_.chance(0.5);
    const double by = dice_.sign() * magnitude_ * limit_rpm();
    for (std::size_t w = 1; w < gauge_.windows.size(); ++w)
      if ((w >= gauge_.windows.size() / 2) == upper) pair_.runs.windows[w].from_rpm += by;
    note();
  }
  void window_missing() {
    if (pair_.runs.windows.size() < 3) return;
    const auto at = static_cast<std::ptrdiff_t>(1 + dice_.index(pair_.runs.windows.size() - 1));
    pair_.runs.windows.erase(pair_.runs.windows.begin() + at);
    magnitude_ = 0;
    note();
  }
  void cues_exchanged() {
    const std::size_t a = dice_.index(pair_.runs.windows.size()), b = dice_.index(pair_.runs.windows.size());
    std::swap(pair_.runs.windows[a].cue, pair_.runs.windows[b].cue);
    magnitude_ = 0;
    note();
  }
  void span_stretched() {
    Window* first = nullptr;
    std::vector<Window*> steps;
    for (Window& w : pair_.runs.windows)
      if (w.name.starts_with("count-in-")) {
        if (first == nullptr) first = &w;
        steps.push_back(&w);
      }
    if (steps.size() < 2) return;
    const double wide = steps.back()->from_rpm - first->from_rpm;
    const double by = dice_.sign() * magnitude_ * limit_rpm();
    for (Window* w : steps) w->from_rpm -= by * (steps.back()->from_rpm - w->from_rpm) / wide;
    note();
  }
  void wires_crossed() {
    const Lamp& lamp = any_lamp();
    if (lamp.colours.size() < 2) return;
    const std::size_t a = dice_.index(lamp.colours.size()), b = dice_.index(lamp.colours.size());
    const Channels one = gauge_.channel(lamp.id, lamp.colours[a]),
                   other = gauge_.channel(lamp.id, lamp.colours[b]);
    const auto cross = [&](Channels& lit) {
      const bool had_one = lit & one, had_other = lit & other;
      lit &= ~(one | other);
      lit |= (had_one ? other : 0) | (had_other ? one : 0);
    };
    for (Window& w : pair_.runs.windows) {
      cross(w.cue.steady);
      cross(w.cue.blinking);
    }
    magnitude_ = 0;
    note();
  }

 private:
  std::size_t boundary(std::size_t lowest) { return lowest + dice_.index(gauge_.windows.size() - lowest); }
  const Lamp& any_lamp() { return gauge_.lamps[dice_.index(gauge_.lamps.size())]; }
  void number(const std::string& name, double value, std::size_t boundary) {
    fault_.words["boundary"] = gauge_.windows[boundary].name;
    fault_.numbers[name] = std::clamp(value, -20'000.0, 20'000.0);
    add();
  }
  void note() { pair_.mutations.push_back({fault_.kind, magnitude_}); }
  void add() {
    // The words must fit what the unit has by now.
    for (const char* const word : {"boundary", "window"})
      if (const auto found = fault_.words.find(word); found != fault_.words.end())
        if (std::none_of(pair_.runs.windows.begin(), pair_.runs.windows.end(),
                         [&](const Window& w) { return w.name == found->second; }))
          return;
    pair_.behaviour.faults.push_back(fault_);
    note();
  }

  MutationPair& pair_;
  const Gauge& gauge_;
  Dice& dice_;
  double magnitude_;
  FaultSetting fault_;
};

// A survey's profile is not known before: what such a fault does to it, neither.
bool only_in_time(const std::string& kind) {
  return kind == "freeze" || kind == "reset" || kind == "intermittent-lamp" || kind == "noisy-reading" ||
         kind == "dropped-updates";
}

using Doing = std::function<void(Hand&)>;

const std::map<std::string, Doing>& doings() {
  static const std::map<std::string, Doing> all{
      {"boundary-moved", &Hand::moved_boundary},
      {"count-in-uneven", &Hand::uneven_count_in},
      {"deadband-missing", &Hand::no_deadband},
      {"deadband-width", &Hand::deadband_width},
      {"deadband-side", &Hand::deadband_side},
      {"over-rev-missing", &Hand::whole},
      {"wrong-colour", &Hand::wrong_colour},
      {"swapped-lamps", &Hand::swapped},
      {"stuck-on", [](Hand& hand) { hand.stuck(true); }},
      {"stuck-off", [](Hand& hand) { hand.stuck(false); }},
      {"blink-absent", &Hand::no_blink},
      {"blink-rate", &Hand::blink_rate},
      {"blink-duty", &Hand::blink_duty},
      {"wrong-pulses-per-rev", &Hand::pulses_per_rev},
      {"slow-filter", &Hand::slow_filter},
      {"slow-response", &Hand::slow_response},
      {"dropped-updates", &Hand::dropped_updates},
      {"noisy-reading", &Hand::noisy},
      {"intermittent-lamp", &Hand::loose_lamp},
      {"freeze", &Hand::frozen},
      {"reset", &Hand::reset},
      {"settings: anchor moved", &Hand::anchor_moved},
      {"settings: window missing", &Hand::window_missing},
      {"settings: cues exchanged", &Hand::cues_exchanged},
      {"settings: count-in span", &Hand::span_stretched},
      {"settings: wires crossed", &Hand::wires_crossed},
  };
  return all;
}

}  // namespace

const std::vector<std::string>& mutation_kinds() {
  static const std::vector<std::string> kinds = [] {
    std::vector<std::string> all;
    for (const auto& [kind, doing] : doings()) all.push_back(kind);
    return all;
  }();
  return kinds;
}

void mutate(MutationPair& pair, const std::string& kind, Dice& dice) {
  if (only_in_time(kind)) pair.surveyed = false;
  Hand hand(pair, kind, dice);
  doings().at(kind)(hand);
}

void shift_within_tolerance(MutationPair& pair, double share, Dice& dice) {
  pair.shifted = share;
  const Gauge& gauge = pair.gauge;
  const UnitSettings unit = healthy_settings(gauge, pair.behaviour);
  // Rounding moves a threshold by up to half a step.
  const double by = share * gauge.tolerance.rpm - unit.resolution_rpm / 2;
  const int way = dice.whole(0, 3);
  for (std::size_t w = 1; w < gauge.windows.size() && way < 3; ++w)
    pair.runs.windows[w].from_rpm += by * (way == 0 ? dice.sign() : way == 1 ? 1 : -1);
  if (way == 3 && by > 0) pair.runs.deadband.rpm = std::max(0.0, gauge.deadband.rpm + dice.sign() * by);
  pair.runs.blink->hz += dice.sign() * share * gauge.tolerance.blink_hz;
  pair.runs.blink->duty += dice.sign() * share * gauge.tolerance.blink_duty;
  const double spare_ms = to_ms(gauge.tolerance.response_to) - longest_delay_ms(pair);
  if (spare_ms > 0 && dice.chance(0.5)) pair.behaviour.response_ms = to_ms(unit.response) + share * spare_ms;
}

}  // namespace tachproof
