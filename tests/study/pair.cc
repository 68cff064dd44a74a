#include "tests/study/pair.h"

#include <algorithm>
#include <array>

#include <fmt/format.h>

#include "core/signal/pulse_train.h"

namespace tachproof::study {
namespace {

// The odd pulses of a recording that nobody could take for bounce: no other change of the line is nearer than
// any pulse of the gauge at 20,000 rpm would be.
std::vector<double> unlike_bounce(const TachLine& line, double pulses_per_rev) {
  const double soonest = 60 / (20'000 * pulses_per_rev);
  const std::vector<double>& t = line.toggles;
  std::vector<double> clear;
  for (const double at : line.odd) {
    // From a missing pulse every change is far away.
    const auto first = static_cast<std::size_t>(std::lower_bound(t.begin(), t.end(), at - 1e-12) - t.begin());
    const bool missing = first == t.size() || t[first] - at > soonest;
    const bool before = first > 0 && at - t[first - 1] < soonest;
    const bool after = first + 2 < t.size() && t[first + 2] - t[first + 1] < soonest;
    if (missing || !(before || after)) clear.push_back(at);
  }
  return clear;
}

constexpr double sound_share = 0.4;
constexpr double recording_share = 0.6;
constexpr double switched_on_s = -3;  // before a recording begins
constexpr double longest_s = 100;

RoadKind draw_kind(bool recording, Draw& draw) {
  if (draw.chance(0.6)) return RoadKind::acceptance;
  for (;;) {
    const auto kind = static_cast<RoadKind>(draw.whole(1, road_kinds - 1));
    if (kind != RoadKind::middle || recording) return kind;
  }
}

// Everything but the truth.
bool drive(Pair& pair, bool recorded_line, Draw& draw) {
  if (pair.recording) {
    if (!recorded_line) {
      const std::vector<double> pulses =
          pair.road.pulses(pair.gauge.pulses_per_rev, switched_on_s, draw.uniform());
      pair.line = spoil(pulses, pair.spoiled, pair.road.duration_s(), draw);
    }
    pair.shown = watch(pair.unit, pair.line.rises, switched_on_s, pair.road.duration_s());
  } else {
    pair.shown = watch(pair.unit, pair.line.rises, 0, pair.road.duration_s());
  }
  return true;
}

}  // namespace

TachLine scripted_line(const Pair& pair) {
  const std::vector<Step> steps = pair.road.steps();
  const Profile profile(steps);
  PulseTrain train(profile, pair.gauge.pulses_per_rev, pair.noise, pair.number);
  std::array<Nanos, 4096> block;
  std::vector<double> pulses, odd;
  while (const std::size_t n = train.next(block))
    for (std::size_t i = 0; i < n; ++i) pulses.push_back(to_seconds(block[i]));
  for (const Disturbance& d : train.take_disturbances()) odd.push_back(to_seconds(d.at));
  TachLine line = as_line(pulses);
  line.odd = odd;
  return line;
}

void draw_disturbance(Pair& pair, bool bounce, Draw& draw) {
  Spoiled& s = pair.spoiled;
  const double least_period = 60 / (pair.gauge.pulses_per_rev * pair.road.highest());
  if (!bounce && draw.chance(0.45)) return;
  const int kinds = draw.chance(0.3) ? 2 : 1;
  for (int k = 0; k < kinds || bounce; ++k) {
    switch (bounce ? 0 : draw.whole(pair.recording ? 0 : 1, 6)) {
      case 0:
        s.bounce = draw.chance(0.3) ? 1 : draw.log_between(1e-3, 1);
        s.bounce_us = std::min(draw.log_between(2, 200),
                               1e6 * std::min(0.3 * least_period, 1.5e-3 / pair.gauge.pulses_per_rev));
        break;
      case 1: s.missing = draw.log_between(3e-5, 1e-2); break;
      case 2:
        s.doubled = draw.log_between(3e-5, 1e-2);
        s.doubled_after_us = draw.log_between(200, 1000);
        break;
      case 3:
      case 4: s.lamp_glitches_per_s = draw.log_between(0.05, 20); break;
      case 5:
        // What is shorter than the recorder's steps is in no recording.
        if (pair.recording && pair.resolution < 1000)
          s.tach_glitches_per_s = draw.log_between(0.02, 2);
        else
          pair.noise.wander_rpm = draw.between(0.05, 0.2) * pair.gauge.tolerance.rpm,
          pair.noise.wander_s = draw.between(0.3, 2);
        break;
      case 6:
        if (draw.chance(0.5))
          s.jitter_us = draw.log_between(0.5, 20);
        else if (pair.recording)
          pair.road.wander(draw.between(0.1, 0.5) * pair.gauge.tolerance.rpm, draw.between(0.5, 3), draw);
        break;
    }
    bounce = false;
  }
  if (!pair.recording) {
    pair.noise.missing = s.missing;
    pair.noise.doubled = s.doubled;
    pair.noise.doubled_after_us = s.doubled_after_us;
    pair.noise.jitter_us = s.jitter_us;
  }
}

bool draw_unit(Pair& pair, double share, Draw& draw) {
  const PlainGauge gauge(pair.gauge);
  Unit& u = pair.unit;
  u = {};
  pair.used_up = share;
  u.pulses_per_rev = gauge.pulses_per_rev;
  u.rising = gauge.rising;
  u.falling = gauge.falling;
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b) {
    const double off = draw.between(-1, 1) * share * gauge.t_rpm;
    u.rising[b] += off;
    u.falling[b] += draw.chance(0.5) ? off : draw.between(-1, 1) * share * gauge.t_rpm;
    if (u.falling[b] > u.rising[b]) u.falling[b] = u.rising[b];
  }
  u.cues = gauge.cues;
  u.blink_hz = gauge.blink_hz + draw.between(-1, 1) * share * gauge.blink_hz_within;
  u.blink_duty = gauge.blink_duty + draw.between(-1, 1) * share * gauge.blink_duty_within;
  u.blink_phase = draw.uniform();
  u.start = static_cast<Unit::Start>(draw.whole(0, 2));
  const bool staggered = draw.chance(0.3);
  for (int c = 0; c < gauge.channels; ++c)
    u.late_s.push_back(staggered ? draw.between(0, 0.9 * gauge.settle_s) : 0);
  if (draw.chance(0.12)) {
    u.pwm_hz = draw.log_between(100, 1000);
    u.pwm_duty = draw.between(0.1, 0.9);
    u.pwm_phase = draw.uniform();
  }
  if (draw.chance(0.25)) u.round_rpm = std::min(draw.chance(0.5) ? 1.0 : 0.1, 0.1 * gauge.t_rpm);

  const double slowest_period = 60 / (gauge.pulses_per_rev * pair.road.lowest());
  const double least_period = 60 / (gauge.pulses_per_rev * pair.road.highest());
  const double budget = 0.93 * gauge.to_s - u.latest_lamp_s() - (u.pwm_hz > 0 ? 1 / u.pwm_hz : 0);
  u.reading = static_cast<Reading>(draw.whole(0, readings - 1));
  if (gauge.pulses_per_rev >= 30 && draw.chance(0.6)) u.reading = Reading::counts;
  if (u.reading == Reading::counts && gauge.pulses_per_rev < 30) return false;
  if (u.reading != Reading::gate && u.reading != Reading::counts && draw.chance(0.25))
    u.update_hz = draw.between(12, 20);
  u.update_phase = draw.uniform();
  double left = budget - (u.update_hz > 0 ? 1 / u.update_hz : 0);
  switch (u.reading) {
    case Reading::pulses: {
      const double room = left / slowest_period - 1;
      if (room < 1) return false;
      u.pulses = draw.whole(1, std::min(8, static_cast<int>(room)));
      left -= (u.pulses + 1) * slowest_period;
      break;
    }
    case Reading::exponential:
      u.tau_s = draw.between(0.3, 1) * (left - slowest_period) / 7;
      if (u.tau_s <= 0) return false;
      left -= 7 * u.tau_s + slowest_period;
      break;
    case Reading::gate:
    case Reading::counts:
      if (left < 0.045) return false;
      u.gate_s = draw.between(0.02, std::min(0.1, (left - slowest_period) / 2.05));
      if (u.gate_s < 1.2 * slowest_period) return false;
      if (u.reading == Reading::counts && resolution_rpm(u) > 0.45 * gauge.t_rpm) return false;
      left -= 2 * u.gate_s + slowest_period;
      break;
    case Reading::loop: {
      u.zeta = draw.between(1, 1.3);
      const double whole = draw.between(0.5, 1) * (left - slowest_period);
      u.omega = 10 / whole;
      if (whole <= 0 || u.omega > 0.35 / slowest_period) return false;
      left -= whole + slowest_period;
      break;
    }
  }
  if (left < gauge.from_s) return false;
  u.delay_up_s = u.delay_down_s = draw.between(0, 1) * left * draw.uniform();
  if (draw.chance(0.25)) {  // other up than down
    u.delay_up_s = draw.between(0, 0.2) * left;
    u.delay_down_s = draw.between(0.5, 1) * left;
    if (draw.chance(0.3)) std::swap(u.delay_up_s, u.delay_down_s);
  }
  u.delay_up_s = std::max(u.delay_up_s, 1.1 * gauge.from_s);
  u.delay_down_s = std::max(u.delay_down_s, 1.1 * gauge.from_s);
  u.holdoff_s = std::min(draw.log_between(20e-6, 500e-6), 0.4 * least_period);
  if (pair.spoiled.bounce > 0)
    u.holdoff_s = std::clamp(1.2e-6 * pair.spoiled.bounce_us, u.holdoff_s, 0.5 * least_period);
  return true;
}

Pair draw_pair(std::uint64_t seed, std::uint64_t number) {
  Draw draw(seed, number);
  const bool sound = draw.chance(sound_share), recording = draw.chance(recording_share);
  const std::string fault = sound ? "" : draw.of(fault_names());
  const RoadKind kind = draw_kind(recording || fault == "misled by bounce", draw);
  const bool shifted = draw.chance(0.6);
  for (;;) {
    Pair pair;
    pair.seed = seed;
    pair.number = number;
    pair.kind = kind;
    pair.recording = recording || fault == "misled by bounce";
    pair.gauge = draw_gauge(draw);
    pair.road = draw_road(pair.gauge, pair.kind, draw);
    if (pair.road.duration_s() > longest_s || pair.road.duration_s() < 2) continue;
    if (pair.road.lowest() < 0 || pair.road.highest() > 20'000) continue;  // what a bench can play
    static const std::vector<Nanos> resolutions{1, 100, 1000};
    if (pair.recording) pair.resolution = draw.of(resolutions);
    draw_disturbance(pair, fault == "misled by bounce", draw);
    if (!draw_unit(pair, shifted ? (sound ? draw.between(0.5, 0.93) : draw.between(0, 0.5)) : 0, draw))
      continue;
    if (!pair.recording) pair.line = scripted_line(pair);
    if (pair.recording && pair.spoiled.odd_pulses())
      drive(pair, false, draw);  // which pulses are odd is the oracle's to know
    const Oracle oracle(pair.gauge, pair.road, pair.line.odd,
                        pair.recording ? unlike_bounce(pair.line, pair.gauge.pulses_per_rev) : pair.line.odd,
                        pair.recording, pair.noise.wander_rpm);
    if (!sound) {
      if (!put_fault(fault, pair, oracle, draw)) continue;
      pair.fault = fault;
    }
    drive(pair, pair.recording && !pair.line.rises.empty(), draw);
    pair.told = oracle.tell(pair.unit, pair.shown, !sound);
    if (pair.told.truth != (sound ? Truth::sound : Truth::unsound)) continue;
    glitch(pair.shown.lines, static_cast<int>(pair.unit.late_s.size()), pair.spoiled.lamp_glitches_per_s,
           pair.road.duration_s(), draw);
    return pair;
  }
}

std::string Pair::disturbance() const {
  if (spoiled.bounce > 0) return spoiled.bounce >= 1 ? "bounce on every pulse" : "bounce";
  if (spoiled.tach_glitches_per_s > 0) return "EMI on the tach line";
  if (spoiled.missing > 0 || spoiled.doubled > 0) return "missing or doubled pulses";
  if (spoiled.lamp_glitches_per_s > 0) return "EMI on lamp lines";
  if (noise.wander_rpm > 0 || road.wander_rpm() > 0) return "wander";
  if (spoiled.jitter_us > 0) return "jitter";
  return "none";
}

std::string Pair::describe() const {
  std::string text = fmt::format("pair {} of seed {}: {}, {}, {:.1f} s, {}", number, seed,
                                 told.truth == Truth::sound ? "sound" : "unsound",
                                 recording ? fmt::format("recording at {} ns", resolution) : "run",
                                 road.duration_s(), word(kind));
  if (!fault.empty()) text += fmt::format("; {}{}", fault, blink_only ? " (blink-only boundary)" : "");
  if (magnitude != 0) text += fmt::format(", {:.2f} of its tolerance", magnitude);
  text += fmt::format("; {}, {:.1f} updates/s, delays {:.1f}/{:.1f} ms of {:.1f}, T {}, {} pulses/rev",
                      unit.type(), unit.update_hz, 1e3 * unit.delay_up_s, 1e3 * unit.delay_down_s,
                      to_ms(gauge.tolerance.response_to), gauge.tolerance.rpm, gauge.pulses_per_rev);
  if (unit.pwm_hz > 0) text += fmt::format(", dimmed {:.0f} Hz {:.2f}", unit.pwm_hz, unit.pwm_duty);
  if (unit.latest_lamp_s() > 0)
    text += fmt::format(", lamps up to {:.1f} ms late", 1e3 * unit.latest_lamp_s());
  if (spoiled.any() || disturbance() != "none")
    text += fmt::format(
        "; {}: jitter {:.1f} us, missing {:.1e}, doubled {:.1e}, bounce {:.3f} x {:.0f} us, EMI {:.2f}/s "
        "tach "
        "{:.2f}/s lamps, wander {:.2f} rpm",
        disturbance(), spoiled.jitter_us, spoiled.missing, spoiled.doubled, spoiled.bounce, spoiled.bounce_us,
        spoiled.tach_glitches_per_s, spoiled.lamp_glitches_per_s, road.wander_rpm() + noise.wander_rpm);
  for (std::size_t i = 0; i < told.why.size() && i < 3; ++i) text += "; " + told.why[i];
  return text;
}

}  // namespace tachproof::study
