#include "tests/study/road.h"

#include <algorithm>

#include "tests/study/plain_gauge.h"

namespace tachproof::study {
namespace {

constexpr double hour_s = 3600;

struct Crossing {
  double low = 0, high = 0, rate = 0;
};

// From so far under the threshold to so far above it that the change falls into the ramp.
Crossing about(const PlainGauge& gauge, std::size_t b, bool rising, double rate) {
  const double at = rising ? gauge.rising[b] : gauge.falling[b];
  const double wanted = 1.25 * rate * gauge.to_s + 3 * gauge.t_rpm + 1;
  double room = at - (b > 1 ? (rising ? gauge.rising[b - 1] : gauge.falling[b - 1]) : 0.5 * at);
  if (b < gauge.boundaries())
    room = std::min(room, (rising ? gauge.rising[b + 1] : gauge.falling[b + 1]) - at);
  const double reach = std::min(wanted, 0.45 * room);
  return {at - reach, at + reach, rate};
}

double middle_of(const PlainGauge& gauge, std::size_t w) {
  if (w == 0) return gauge.falling[1] - std::min(300.0, 0.15 * gauge.falling[1]);
  if (w == gauge.boundaries()) return gauge.rising[w] + 150 + 6 * gauge.t_rpm;
  return (gauge.rising[w] + gauge.falling[w + 1]) / 2;
}

void acceptance(Road& road, const PlainGauge& gauge, std::size_t first, std::size_t last, Draw& draw) {
  const double settled = gauge.to_s + gauge.settle_s + 0.1;
  const double fast = draw.log_between(800, 3000), slow = gauge.t_rpm / 2 / gauge.to_s;
  const auto rest_s = [&](std::size_t w) { return settled + (gauge.cues[w].blinking ? 1.0 : 0.3); };
  road.hold_at(middle_of(gauge, first - 1), 1 + settled);
  for (const double rate : {slow, slow * draw.between(3, 6)}) {
    for (std::size_t b = first; b <= last; ++b) {
      const Crossing c = about(gauge, b, true, rate);
      road.ramp(c.low, fast);
      road.ramp(c.high, c.rate);
      road.ramp(middle_of(gauge, b), fast);
      road.hold(rest_s(b));
    }
    for (std::size_t b = last; b >= first; --b) {
      const Crossing c = about(gauge, b, false, rate);
      road.ramp(c.high, fast);
      road.ramp(c.low, c.rate);
      road.ramp(middle_of(gauge, b - 1), fast);
      road.hold(rest_s(b - 1));
    }
  }
  for (std::size_t w = first - 1; w <= last; ++w)
    if (gauge.cues[w].blinking) {
      road.ramp(middle_of(gauge, w), fast);
      road.hold(settled + draw.between(8, 12) / gauge.blink_hz);
    }
  for (int i = 0; i < 3; ++i) {
    road.hold_at(middle_of(gauge, first - 1), settled + draw.between(0.3, 0.6));
    road.hold_at(middle_of(gauge, last), settled + draw.between(0.3, 0.6));
  }
  road.ramp(middle_of(gauge, first - 1), fast);
  road.hold(settled + 0.5);
}

void steps_only(Road& road, const PlainGauge& gauge, Draw& draw) {
  const double settled = gauge.to_s + gauge.settle_s + 0.1;
  std::size_t at = 0;
  road.hold_at(middle_of(gauge, 0), 1 + settled);
  for (std::size_t w = 1; w <= gauge.boundaries(); ++w)
    road.hold_at(middle_of(gauge, w), settled + draw.between(0.3, 1));
  for (int i = 0; i < 20; ++i) {
    at = draw.index(gauge.boundaries() + 1);
    const double lasts =
        gauge.cues[at].blinking && draw.chance(0.3) ? draw.between(4, 10) / gauge.blink_hz : 0.3;
    road.hold_at(middle_of(gauge, at), settled + lasts);
  }
  road.hold_at(middle_of(gauge, 0), 1 + settled);
}

void slow_sweep(Road& road, const PlainGauge& gauge, Draw& draw) {
  const double rate = draw.between(35, 45);
  const std::size_t top = gauge.boundaries();
  road.hold_at(std::max(gauge.falling[1] - 40, 0.8 * gauge.falling[1]), 1.5);
  road.ramp(gauge.rising[top] + 60, rate);
  road.hold(1 + (gauge.cues[top].blinking ? draw.between(2, 9) / gauge.blink_hz : 0.5));
  road.ramp(std::max(gauge.falling[1] - 40, 0.8 * gauge.falling[1]), rate);
  road.hold(1.5);
}

}  // namespace

const char* word(RoadKind kind) {
  constexpr const char* words[] = {"acceptance-like", "steps only",           "ramps at 40 rpm/s only",
                                   "cut short",       "begins in the middle", "not every boundary"};
  return words[static_cast<int>(kind)];
}

void Road::hold(double lasts_s) {
  const double from = duration_s(), rpm = pieces_.empty() ? 0 : rpm_at(from);
  pieces_.push_back({from, from + lasts_s, rpm, 0});
}

void Road::hold_at(double rpm, double lasts_s) {
  const double from = duration_s();
  pieces_.push_back({from, from + lasts_s, rpm, 0});
}

void Road::ramp(double to_rpm, double rpm_per_s) {
  const double from = duration_s(), rpm = rpm_at(from), lasts = std::abs(to_rpm - rpm) / rpm_per_s;
  if (lasts < 1e-9) return;
  pieces_.push_back({from, from + lasts, rpm, (to_rpm - rpm) / lasts});
}

void Road::cut(double from_s, double until_s) {
  std::vector<Piece> kept;
  for (Piece p : pieces_) {
    if (p.until_s <= from_s || p.from_s >= until_s) continue;
    const double begins = std::max(p.from_s, from_s);
    p.rpm += p.slope * (begins - p.from_s);
    p.from_s = begins - from_s;
    p.until_s = std::min(p.until_s, until_s) - from_s;
    kept.push_back(p);
  }
  pieces_ = std::move(kept);
}

void Road::wander(double rpm, double time_s, Draw& draw) {
  wander_rpm_ = rpm;
  for (const double times : {0.6, 1.0, 1.7})
    waves_.push_back(
        {rpm * std::sqrt(2.0 / 3), times / (2 * std::numbers::pi * time_s), draw.between(0, 6.283)});
}

double Road::wandering(double s) const {
  double sum = 0;
  for (const Wave& w : waves_) sum += w.rpm * std::sin(2 * std::numbers::pi * w.hz * s + w.phase);
  return sum;
}

double Road::rpm_at(double s) const {
  if (pieces_.empty()) return 0;
  const auto after = std::upper_bound(pieces_.begin(), pieces_.end(), s,
                                      [](double t, const Piece& p) { return t < p.from_s; });
  const Piece& p = after == pieces_.begin() ? pieces_.front() : *std::prev(after);
  const double within = std::clamp(s, p.from_s, p.until_s) - p.from_s;
  return p.rpm + p.slope * within + (waves_.empty() ? 0 : wandering(s));
}

double Road::lowest() const {
  double least = 1e9;
  for (const Piece& p : pieces_) least = std::min({least, p.rpm, p.rpm + p.slope * (p.until_s - p.from_s)});
  return least - 2.5 * wander_rpm_;
}

double Road::highest() const {
  double most = 0;
  for (const Piece& p : pieces_) most = std::max({most, p.rpm, p.rpm + p.slope * (p.until_s - p.from_s)});
  return most + 2.5 * wander_rpm_;
}

std::vector<double> Road::pulses(double pulses_per_rev, double from_s, double phase) const {
  std::vector<double> out;
  double turns = phase;  // in pulses
  double next = std::floor(phase) + 1;
  // Stretches short enough that the wander is a line within them; without wander, whole pieces.
  const double longest = waves_.empty() ? hour_s : 0.5e-3;
  const auto stretch = [&](double a, double b, double rpm_a, double rpm_b) {
    const double hz = rpm_a * pulses_per_rev / 60, rate = (rpm_b - rpm_a) * pulses_per_rev / 60 / (b - a);
    const double end = turns + (b - a) * (hz + rate * (b - a) / 2);
    for (; next <= end; ++next) {
      // hz s + rate s^2 / 2 = n, in the form that never subtracts nearly equal numbers.
      const double n = next - turns;
      const double s = 2 * n / (hz + std::sqrt(std::max(0.0, hz * hz + 2 * rate * n)));
      out.push_back(a + s);
    }
    turns = end;
  };
  const auto piece = [&](double from, double until, auto rpm) {
    const int parts = std::max(1, static_cast<int>(std::ceil((until - from) / longest)));
    const double each = (until - from) / parts;
    for (int i = 0; i < parts; ++i)
      stretch(from + i * each, from + (i + 1) * each, rpm(from + i * each), rpm(from + (i + 1) * each));
  };
  if (pieces_.empty()) return out;
  if (from_s < 0)
    piece(from_s, 0, [&](double s) { return pieces_.front().rpm + (waves_.empty() ? 0 : wandering(s)); });
  for (const Piece& p : pieces_)
    piece(p.from_s, p.until_s,
          [&](double s) { return p.rpm + p.slope * (s - p.from_s) + (waves_.empty() ? 0 : wandering(s)); });
  return out;
}

std::vector<Step> Road::steps() const {
  std::vector<Step> steps;
  for (const Piece& p : pieces_) {
    const double to = p.rpm + p.slope * (p.until_s - p.from_s);
    if (p.slope == 0)
      steps.push_back(Hold{p.rpm, from_seconds(p.until_s - p.from_s)});
    else
      steps.push_back(RampByRate{to, std::abs(p.slope)});
  }
  return steps;
}

Road draw_road(const Gauge& gauge, RoadKind kind, Draw& draw) {
  const PlainGauge plain(gauge);
  const std::size_t top = plain.boundaries();
  Road road;
  if (kind == RoadKind::steps_only) {
    steps_only(road, plain, draw);
  } else if (kind == RoadKind::slow_sweep) {
    slow_sweep(road, plain, draw);
  } else if (kind == RoadKind::partial && top > 1) {
    const std::size_t first = 1 + draw.index(top);
    acceptance(road, plain, first, std::min(top, first + draw.index(2)), draw);
  } else {
    acceptance(road, plain, 1, top, draw);
  }
  const double whole = road.duration_s();
  if (kind == RoadKind::short_one) road.cut(0, draw.between(0.1, 0.4) * whole);
  if (kind == RoadKind::middle) road.cut(draw.between(0.05, 0.7) * whole, whole);
  return road;
}

}  // namespace tachproof::study
