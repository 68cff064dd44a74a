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
Cue translate(const Cue& cue, const Gauge& from, const Gauge& to) {
  return {translate(cue.steady, from, to), translate(cue.blinking, from, to)};
}

bool has_dim_button(const Gauge& gauge) {
  return std::any_of(gauge.buttons.begin(), gauge.buttons.end(),
                     [](const Button& button) { return std::holds_alternative<Dim>(button.does); });
}

// Below this share of full light a lamp may change its colour.
constexpr double half_light = 0.5;

}  // namespace

// ---- SquareWave -------------------------------------------------------------

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

// ---- LampDriver -------------------------------------------------------------

LampDriver::LampDriver(const UnitSettings& settings, const Gauge& as_seen, double share, std::uint64_t seed)
    : stuck_on_(translate(settings.stuck_on, settings.gauge, as_seen)),
      stuck_off_(translate(settings.stuck_off, settings.gauge, as_seen)),
      response_(settings.response),
      fed_(!settings.boots_first),
      frozen_(settings.frozen),
      dim_(settings.dim),
      share_(share) {
  for (const Window& window : settings.gauge.windows)
    cues_.push_back(translate(window.cue, settings.gauge, as_seen));
  if (settings.gauge.power_up && settings.gauge.power_up->greets)
    greeting_cue_ = translate(settings.gauge.power_up->greets->cue, settings.gauge, as_seen);
  for (const DimColour& fault : settings.dim_colours)
    dim_colours_.push_back(
        {translate(fault.lamp, settings.gauge, as_seen), translate(fault.to, settings.gauge, as_seen)});
  if (settings.gauge.blink) blink_.emplace(settings.gauge.blink->hz, settings.gauge.blink->duty);
  if (settings.dim < 1 || has_dim_button(settings.gauge)) {
    dimmer_.emplace(settings.dim_hz, dim_ * share_);
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

void LampDriver::decide(Nanos at, std::size_t window) { pending_.push_back({at + response_, window, 0}); }
void LampDriver::dim(Nanos at, double share) { pending_.push_back({at + response_, std::nullopt, share}); }
void LampDriver::power_off(Nanos at) { power_.push_back({at, PowerChange::To::off, 1}); }
void LampDriver::greet(Nanos at, double share) { power_.push_back({at, PowerChange::To::greeting, share}); }
void LampDriver::wake(Nanos at, double share) { power_.push_back({at, PowerChange::To::awake, share}); }

void LampDriver::run(Nanos until, std::vector<LampEvent>& out) {
  if (!shown_) {
    enter(0, 0);
    pass(0);
    shown_ = lit();
    out.push_back({0, *shown_});
  }
  for (Nanos t = next_change(); t <= until; t = next_change()) {
    if (const Nanos other = next_but_dimming(); other > t) {
      dim_until(std::min(until, other - 1), out);
      continue;
    }
    pass(t);
    const Channels now = lit();
    if (now != *shown_) out.push_back({t, now});
    shown_ = now;
  }
}

// Nothing but the dimmer changes anything: two pictures take turns.
void LampDriver::dim_until(Nanos until, std::vector<LampEvent>& out) {
  const Channels bright = lit(true), dark = lit(false);
  Channels shown = *shown_;
  dimmer_->pass_until(until, [&](Nanos at, bool lit_from_then) {
    const Channels now = lit_from_then ? bright : dark;
    if (now != shown) out.push_back({at, now});
    shown = now;
  });
  shown_ = shown;
}

Nanos LampDriver::next_change() const {
  const Nanos t = next_but_dimming();
  return dimmer_ ? std::min(t, dimmer_->next()) : t;
}

Nanos LampDriver::next_but_dimming() const {
  Nanos t = frozen_.next();
  if (!power_.empty()) t = std::min(t, power_.front().at);
  if (!pending_.empty()) t = std::min(t, pending_.front().shows_at);
  if (blink_) t = std::min(t, blink_->next());
  for (const Flaky& flaky : flaky_) t = std::min(t, flaky.next);
  return t;
}

void LampDriver::pass(Nanos t) {
  for (; !power_.empty() && power_.front().at == t; power_.pop_front()) pass(power_.front());
  for (; !pending_.empty() && pending_.front().shows_at == t; pending_.pop_front()) {
    const Pending& pending = pending_.front();
    if (pending.window)
      enter(*pending.window, t);
    else
      set_share(pending.share);
  }
  if (frozen_.next() == t) frozen_.pass();
  if (blink_ && blink_->next() == t) blink_->pass();
  if (dimmer_ && dimmer_->next() == t) dimmer_->pass();
  for (Flaky& flaky : flaky_)
    while (flaky.next == t) flaky.pass();
  show_pattern(t);
}

void LampDriver::pass(const PowerChange& change) {
  fed_ = change.to != PowerChange::To::off;
  if (!fed_) {
    // What was decided before the supply failed is lost with it.
    while (!pending_.empty() && pending_.front().shows_at - response_ < change.at) pending_.pop_front();
    window_ = 0;
  }
  greeting_ = change.to == PowerChange::To::greeting;
  set_share(change.share);
  if (greeting_)
    show(greeting_cue_, change.at);
  else
    enter(window_, change.at);
}

void LampDriver::set_share(double share) {
  if (share == share_) return;
  share_ = share;
  if (dimmer_) dimmer_->stop();  // and starts with the new share where something is lit
}

void LampDriver::enter(std::size_t window, Nanos t) {
  window_ = window;
  if (!greeting_) show(cues_[window], t);
}

void LampDriver::show(const Cue& cue, Nanos t) {
  cue_ = cue;
  if (!blink_) return;
  blink_->stop();
  if (cue_.blinking != 0) blink_->start(static_cast<double>(t), t);
}

void LampDriver::show_pattern(Nanos t) {
  if (!frozen_.inside()) pattern_ = recoloured(cue_.steady | (blink_ && !blink_->lit() ? 0 : cue_.blinking));
  if (!dimmer_) return;
  // The dimmer's clock runs on in the dark, but nobody can see its edges.
  if (pattern_ == 0) {
    dimmer_->stop();
  } else if (!dimmer_->running()) {
    dimmer_->duty(dim_ * share_);
    dimmer_->start(dimmer_origin_ns_, t);
  }
}

Channels LampDriver::recoloured(Channels pattern) const {
  if (dim_ * share_ >= half_light) return pattern;
  for (const DimColour& fault : dim_colours_)
    if (pattern & fault.lamp) pattern = (pattern & ~fault.lamp) | fault.to;
  return pattern;
}

Channels LampDriver::lit() const { return lit(!dimmer_ || dimmer_->lit()); }

Channels LampDriver::lit(bool dimmer_lit) const {
  Channels lit = fed_ && dimmer_lit ? pattern_ : 0;
  for (const Flaky& flaky : flaky_)
    if (flaky.dark) lit &= ~flaky.channels;
  return (lit & ~stuck_off_) | stuck_on_;
}

}  // namespace tachproof
