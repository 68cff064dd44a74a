#include "tests/bench/random_gauge.h"

#include <algorithm>
#include <string>

namespace tachproof {
namespace {

constexpr double highest_boundary_rpm = 18'000;

void draw_lamps(Gauge& gauge, Dice& dice) {
  const char* const colours[] = {"white", "blue", "magenta"};
  const int lamps = dice.whole(2, 16);
  for (int i = 0; i < lamps; ++i) {
    Lamp lamp{"lamp-" + std::to_string(i + 1), {}};
    const int first = dice.whole(0, 2), count = dice.whole(1, 3);
    for (int c = 0; c < count; ++c) lamp.colours.emplace_back(colours[(first + c) % 3]);
    gauge.lamps.push_back(lamp);
  }
}

void draw_tolerance(Gauge& gauge, double lowest_rpm, Dice& dice) {
  Tolerance& t = gauge.tolerance;
  t.rpm = dice.log_between(1, 10);
  t.response_from = dice.whole(0, 5) * ns_per_ms;
  // A slow signal needs a patient gauge file.
  const Nanos five_periods = from_seconds(5 * 60 / (gauge.pulses_per_rev * lowest_rpm));
  t.response_to = std::max(dice.whole(60, 250) * ns_per_ms, five_periods);
  t.settle = dice.whole(2, 20) * ns_per_ms;
  t.signal_lost = std::max(ns_per_s, t.response_to);
  gauge.blink = Blink{dice.log_between(1, 10), dice.between(0.25, 0.75)};
  t.blink_hz = gauge.blink->hz * dice.between(0.03, 0.15);
  t.blink_duty = dice.between(0.03, 0.12);
}

double draw_width(const Gauge& gauge, Dice& dice) {
  const double deadband = gauge.deadband.rpm, t = gauge.tolerance.rpm;
  if (dice.chance(0.1)) return 1.01 * deadband + dice.log_between(0.5, 4 * t);
  if (dice.chance(0.2)) return deadband + dice.between(2, 12) * t;
  return deadband + dice.log_between(12 * t, 700);
}

Cue draw_cue(const Gauge& gauge, double blink_share, Dice& dice) {
  Cue cue;
  const double lit_share = dice.between(0, 0.7);
  for (std::size_t lamp = 0; lamp < gauge.lamps.size(); ++lamp) {
    if (!dice.chance(lit_share)) continue;
    const Lamp& one = gauge.lamps[lamp];
    const Channels lit = gauge.channel(one.id, one.colours[dice.index(one.colours.size())]);
    (dice.chance(blink_share) ? cue.blinking : cue.steady) |= lit;
  }
  return cue;
}

void draw_cues(Gauge& gauge, Dice& dice) {
  const double blink_share = dice.chance(0.7) ? dice.between(0.02, 0.3) : 0;
  const double alike_share = dice.chance(0.2) ? 0.15 : 0;
  const double alike_while_lit_share = dice.chance(0.1) ? 0.3 : 0;
  for (std::size_t w = 0; w < gauge.windows.size(); ++w) {
    Cue& cue = gauge.windows[w].cue;
    const Cue* before = w == 0 ? nullptr : &gauge.windows[w - 1].cue;
    if (before != nullptr && dice.chance(alike_share)) {
      cue = *before;
      continue;
    }
    // Where all that is below blinks, there may be none that differs from it.
    int tries = dice.chance(alike_while_lit_share) ? 1 : 50;
    do cue = draw_cue(gauge, blink_share, dice);
    while (--tries > 0 && before != nullptr && share_a_picture(cue, *before));
  }
}

}  // namespace

bool share_a_picture(const Cue& a, const Cue& b) {
  return (a.steady & ~b.steady & ~b.blinking) == 0 && (b.steady & ~a.steady & ~a.blinking) == 0;
}

Gauge random_gauge(Dice& dice) {
  constexpr double pulses[] = {0.5, 1, 1.5, 2, 2.5, 3, 4, 5, 6};
  Gauge gauge;
  gauge.name = "random";
  gauge.pulses_per_rev = pulses[dice.index(std::size(pulses))];
  draw_lamps(gauge, dice);

  const double lowest =
      dice.chance(0.2) ? dice.log_between(300 / gauge.pulses_per_rev, 2000) : dice.between(2000, 6000);
  draw_tolerance(gauge, lowest, dice);
  gauge.deadband = {dice.chance(0.1) ? 0 : dice.between(0, 20), static_cast<Sits>(dice.whole(0, 2))};

  const int windows = dice.whole(3, 24);
  double from = lowest;
  gauge.windows.push_back({"window-0", 0, {}});
  while (static_cast<int>(gauge.windows.size()) < windows && from < highest_boundary_rpm) {
    gauge.windows.push_back({"window-" + std::to_string(gauge.windows.size()), from, {}});
    from += draw_width(gauge, dice);
  }
  if (gauge.windows.size() > 4 && dice.chance(0.5)) {
    const std::size_t steps = 2 + dice.index(gauge.windows.size() - 4);
    const std::size_t first = 1 + dice.index(gauge.windows.size() - 1 - steps);
    for (std::size_t k = 0; k < steps; ++k)
      gauge.windows[first + k].name = "count-in-" + std::to_string(k + 1);
  }
  draw_cues(gauge, dice);

  // The lower boundaries hang from one anchor, the upper ones from another.
  const std::size_t half = gauge.windows.size() / 2;
  gauge.anchors = {{"pit", gauge.windows[1].from_rpm}, {"shift", gauge.windows[half].from_rpm}};
  for (std::size_t w = 1; w < gauge.windows.size(); ++w) gauge.windows[w].anchor = w < half ? "pit" : "shift";
  return gauge;
}

}  // namespace tachproof
