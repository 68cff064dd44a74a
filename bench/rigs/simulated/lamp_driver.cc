#include "bench/rigs/simulated/lamp_driver.h"

#include <algorithm>
#include <cmath>

namespace tachproof {
namespace {

Channels translate(Channels channels, const Gauge& from, const Gauge& to) {
  Channels out = 0;
  for (const Lamp& lamp : from.lamps)
    for (const std::string& colour : lamp.colours)
      if (channels & from.channel(lamp.id, colour)) out |= to.channel(lamp.id, colour);
  return out;
}

}  // namespace

// ---- SquareWave -------------------------------------------------------------

Nanos SquareWave::edge(double periods) const { return std::llround(origin_ns_ + periods * period_ns_); }

void SquareWave::start(double origin_ns, Nanos t) {
  running_ = true;
  if (duty_ <= 0 || duty_ >= 1) {
    lit_ = duty_ >= 1;
    next_ = never;
    return;
  }
  origin_ns_ = origin_ns;
  period_ = static_cast<std::int64_t>(std::floor((static_cast<double>(t) - origin_ns) / period_ns_));
  while (edge(static_cast<double>(period_)) > t) --period_;
  while (edge(static_cast<double>(period_ + 1)) <= t) ++period_;
  next_ = edge(static_cast<double>(period_) + duty_);
  lit_ = next_ > t;
  if (!lit_) next_ = edge(static_cast<double>(++period_));
}

void SquareWave::pass() {
  lit_ = !lit_;
  next_ = lit_ ? edge(static_cast<double>(period_) + duty_) : edge(static_cast<double>(++period_));
}

// ---- LampDriver -------------------------------------------------------------

LampDriver::LampDriver(const UnitSettings& settings, const Gauge& as_seen, std::uint64_t seed)
    : stuck_on_(translate(settings.stuck_on, settings.gauge, as_seen)),
      stuck_off_(translate(settings.stuck_off, settings.gauge, as_seen)),
      response_(settings.response),
      unpowered_(settings.unpowered),
      frozen_(settings.frozen) {
  for (const Window& window : settings.gauge.windows)
    cues_.push_back({translate(window.cue.steady, settings.gauge, as_seen),
                     translate(window.cue.blinking, settings.gauge, as_seen)});
  if (settings.gauge.blink) blink_.emplace(settings.gauge.blink->hz, settings.gauge.blink->duty);
  if (settings.dim < 1) {
    dimmer_.emplace(settings.dim_hz, settings.dim);
    dimmer_origin_ns_ = -CounterRandom(seed, 2).uniform(0) * 1e9 / settings.dim_hz;
  }
  for (std::size_t i = 0; i < settings.intermittent.size(); ++i) {
    const Intermittent& fault = settings.intermittent[i];
    Flaky flaky{translate(fault.channels, settings.gauge, as_seen),
                60e9 / fault.per_min,
                fault.lasts,
                CounterRandom(seed, 100 + i),
                0,
                true,
                0};
    flaky.pass();
    flaky_.push_back(flaky);
  }
}

void LampDriver::Flaky::pass() {
  dark = !dark;
  next += dark ? lasts : std::max<Nanos>(1, std::llround(mean_gap_ns * random.exponential(draws++)));
}

void LampDriver::decide(Nanos at, std::size_t window) { pending_.push_back({at + response_, window}); }

void LampDriver::run(Nanos until, std::vector<LampEvent>& out) {
  if (!shown_) {
    enter(0, 0);
    pass(0);
    shown_ = lit();
    out.push_back({0, *shown_});
  }
  for (Nanos t = next_change(); t <= until; t = next_change()) {
    pass(t);
    const Channels now = lit();
    if (now != *shown_) out.push_back({t, now});
    shown_ = now;
  }
}

Nanos LampDriver::next_change() const {
  Nanos t = std::min(unpowered_.next(), frozen_.next());
  if (!pending_.empty()) t = std::min(t, pending_.front().shows_at);
  if (blink_) t = std::min(t, blink_->next());
  if (dimmer_) t = std::min(t, dimmer_->next());
  for (const Flaky& flaky : flaky_) t = std::min(t, flaky.next);
  return t;
}

void LampDriver::pass(Nanos t) {
  if (unpowered_.next() == t) {
    unpowered_.pass();
    // What was decided before the supply failed is lost with it.
    while (!pending_.empty() && pending_.front().shows_at - response_ < t) pending_.pop_front();
    enter(0, t);
  }
  while (!pending_.empty() && pending_.front().shows_at == t) {
    enter(pending_.front().window, t);
    pending_.pop_front();
  }
  if (frozen_.next() == t) frozen_.pass();
  if (blink_ && blink_->next() == t) blink_->pass();
  if (dimmer_ && dimmer_->next() == t) dimmer_->pass();
  for (Flaky& flaky : flaky_)
    while (flaky.next == t) flaky.pass();
  show_pattern(t);
}

void LampDriver::enter(std::size_t window, Nanos t) {
  cue_ = cues_[window];
  if (!blink_) return;
  blink_->stop();
  if (cue_.blinking != 0) blink_->start(static_cast<double>(t), t);
}

void LampDriver::show_pattern(Nanos t) {
  if (!frozen_.inside()) pattern_ = cue_.steady | (blink_ && !blink_->lit() ? 0 : cue_.blinking);
  if (!dimmer_) return;
  // The dimmer's clock runs on in the dark, but nobody can see its edges.
  if (pattern_ == 0) {
    dimmer_->stop();
  } else if (!dimmer_->running()) {
    dimmer_->start(dimmer_origin_ns_, t);
  }
}

Channels LampDriver::lit() const {
  Channels lit = unpowered_.inside() || (dimmer_ && !dimmer_->lit()) ? 0 : pattern_;
  for (const Flaky& flaky : flaky_)
    if (flaky.dark) lit &= ~flaky.channels;
  return (lit & ~stuck_off_) | stuck_on_;
}

}  // namespace tachproof
