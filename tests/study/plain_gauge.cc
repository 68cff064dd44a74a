#include "tests/study/plain_gauge.h"

#include <algorithm>
#include <string>

namespace tachproof::study {
namespace {

double hundredths(double rpm) { return std::round(rpm * 100) / 100; }
Nanos tenths_ms(double s) { return static_cast<Nanos>(std::llround(s * 1e4)) * (ns_per_ms / 10); }

Cue draw_cue(const Gauge& gauge, double blinks, Draw& draw) {
  Cue cue;
  std::size_t bit = 0;
  const double lit = draw.between(0.2, 0.7);
  for (const Lamp& lamp : gauge.lamps) {
    const std::size_t colour = draw.index(lamp.colours.size());
    if (draw.chance(lit)) (draw.chance(blinks) ? cue.blinking : cue.steady) |= Channels{1} << (bit + colour);
    bit += lamp.colours.size();
  }
  return cue;
}

// A neighbour that differs by blinking only: all or some of it blinks, or it all stands still.
Cue blinking_neighbour(const Cue& cue, const Gauge& gauge, Draw& draw) {
  Cue next = cue;
  if (cue.steady == 0 && cue.blinking == 0) {
    while (next.blinking == 0) next = {0, draw_cue(gauge, 1, draw).blinking};  // dark, then blinking
  } else if (cue.blinking != 0) {
    next = draw.chance(0.5) ? Cue{cue.steady | cue.blinking, 0} : Cue{cue.steady, 0};
  } else if (draw.chance(0.75)) {
    next = {0, cue.steady};
  } else {
    const Channels lowest = cue.steady & (~cue.steady + 1);
    next = {cue.steady & ~lowest, lowest};
  }
  return next;
}

void draw_cues(Gauge& gauge, Draw& draw) {
  const std::size_t n = gauge.windows.size();
  const double blinks = draw.chance(0.5) ? 0.15 : 0;
  const bool top_blinks =
      draw.chance(0.5);  // the ladder's top: the same lamps, now blinking; or dark, then blinking
  const bool more = draw.chance(0.15);  // and elsewhere
  for (std::size_t w = 0; w < n; ++w) {
    Cue& cue = gauge.windows[w].cue;
    const Cue* before = w == 0 ? nullptr : &gauge.windows[w - 1].cue;
    const bool dark = (w == 0 && draw.chance(0.6)) || (w + 2 == n && top_blinks && draw.chance(0.2));
    if (before && ((w + 1 == n && top_blinks) || (more && draw.chance(0.4)))) {
      cue = blinking_neighbour(*before, gauge, draw);
      continue;
    }
    for (int tries = 0; tries < 60; ++tries) {
      cue = dark ? Cue{} : draw_cue(gauge, blinks, draw);
      if (dark && before && *before == cue) cue = draw_cue(gauge, 0, draw);
      if (!before || (!(cue == *before) && (tries > 50 || !blink_only(*before, cue)))) break;
    }
    if (before && cue == *before)
      cue.steady ^= 1;  // the first lamp's first colour; put right below if it must be
  }
}

bool sound(const Gauge& gauge) {
  if (!problems_of(gauge).empty()) return false;
  if (gauge.windows.back().from_rpm > 18'500) return false;  // no room for a drive above it
  for (std::size_t w = 1; w < gauge.windows.size(); ++w)
    if (gauge.windows[w].cue == gauge.windows[w - 1].cue) return false;
  return true;
}

Gauge once(Draw& draw) {
  static const std::vector<double> pulses{1, 1, 1.5, 2, 2, 3, 3, 4, 6, 30};
  static const std::vector<std::string> colours{"white", "blue", "magenta"};
  Gauge gauge;
  gauge.name = "study";
  gauge.pulses_per_rev = draw.of(pulses);
  const int lamps = draw.whole(2, 5);
  for (int i = 0; i < lamps; ++i) {
    Lamp lamp{"lamp-" + std::to_string(i + 1), {}};
    const int first = draw.whole(0, 2), count = draw.whole(1, 2);
    for (int c = 0; c < count; ++c)
      lamp.colours.push_back(colours[static_cast<std::size_t>((first + c) % 3)]);
    gauge.lamps.push_back(lamp);
  }
  const bool coarse = gauge.pulses_per_rev >= 30;  // for units that count pulses in a gate
  Tolerance& t = gauge.tolerance;
  t.rpm = hundredths(coarse ? draw.between(60, 100) : draw.log_between(1.5, 10));
  t.response_from = draw.chance(0.8) ? 0 : draw.whole(1, 4) * ns_per_ms;
  t.response_to = tenths_ms(draw.between(coarse ? 0.12 : 0.08, 0.25));
  t.settle = draw.whole(2, 15) * ns_per_ms;
  gauge.blink = Blink{hundredths(draw.log_between(1.5, 8)), hundredths(draw.between(0.3, 0.7))};
  t.blink_hz = hundredths(gauge.blink->hz * draw.between(0.06, 0.15));
  t.blink_duty = hundredths(draw.between(0.05, 0.12));
  gauge.deadband = {draw.chance(0.1) ? 0 : hundredths(draw.between(2, coarse ? 60 : 20)),
                    static_cast<Sits>(draw.whole(0, 2))};

  const int windows = draw.chance(0.8) ? draw.whole(3, 6) : draw.whole(7, 10);
  double from = hundredths(draw.between(gauge.pulses_per_rev < 2 ? 3000 : 1500, 7000));
  gauge.windows.push_back({"window-0", 0, {}});
  while (static_cast<int>(gauge.windows.size()) < windows) {
    gauge.windows.push_back({"window-" + std::to_string(gauge.windows.size()), from, {}});
    from = hundredths(from + gauge.deadband.rpm + draw.log_between(8 * t.rpm + 4, 40 * t.rpm + 60));
  }
  draw_cues(gauge, draw);
  gauge.anchors = {{"pit", gauge.windows[1].from_rpm}};
  return gauge;
}

}  // namespace

PlainGauge::PlainGauge(const Gauge& gauge) {
  const Tolerance& t = gauge.tolerance;
  for (const Window& w : gauge.windows) {
    double up = w.from_rpm;
    if (gauge.deadband.sits == Sits::centred) up += gauge.deadband.rpm / 2;
    if (gauge.deadband.sits == Sits::above) up += gauge.deadband.rpm;
    rising.push_back(up);
    falling.push_back(up - gauge.deadband.rpm);
    cues.push_back(w.cue);
  }
  pulses_per_rev = gauge.pulses_per_rev;
  t_rpm = t.rpm;
  from_s = to_seconds(t.response_from);
  to_s = to_seconds(t.response_to);
  settle_s = to_seconds(t.settle);
  if (gauge.blink) {
    blink_hz = gauge.blink->hz;
    blink_duty = gauge.blink->duty;
  }
  blink_hz_within = t.blink_hz;
  blink_duty_within = t.blink_duty;
  for (const Lamp& lamp : gauge.lamps) channels += static_cast<int>(lamp.colours.size());
}

bool blink_only(const Cue& a, const Cue& b) {
  // There is an instant at which both look alike.
  return looks_like(a, b.steady) || looks_like(a, b.steady | b.blinking);
}

Gauge draw_gauge(Draw& draw) {
  for (;;)
    if (const Gauge gauge = once(draw); sound(gauge)) return gauge;
}

}  // namespace tachproof::study
