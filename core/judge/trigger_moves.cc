#include "core/judge/trigger_moves.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

namespace tachproof {
namespace {

Nanos at(const Segment& segment, double s) {
  return segment.start.whole + std::llround(segment.start.frac_ns + s * 1e9);
}

}  // namespace

TriggerMoves::TriggerMoves(const Gauge& gauge, const ExpectationOptions& options)
    : starts_unknown_(options.before == ExpectationOptions::Before::unknown),
      lag_(options.source_lag),
      // As if the profile came that much sooner and the unit might be twice as much slower.
      slowest_(gauge.tolerance.response_to + 2 * lag_),
      fastest_(gauge.tolerance.response_from),
      signal_lost_(gauge.tolerance.signal_lost),
      boundaries_(gauge.boundaries()) {
  const auto tolerance = [&](double rpm) {
    return gauge.tolerance.rpm + (options.extra_rpm ? options.extra_rpm(rpm) : 0.0);
  };
  for (std::size_t i = 0; i < boundaries_.size(); ++i) {
    const std::size_t b = i + 1;
    const double rise = gauge.rising_rpm(b), fall = gauge.falling_rpm(b);
    const double rise_t = tolerance(rise), fall_t = tolerance(fall);
    levels_.push_back({rise - rise_t, i, LevelUse::high_eager});
    levels_.push_back({fall - fall_t, i, LevelUse::high_patient});
    levels_.push_back({fall + fall_t, i, LevelUse::low_eager});
    levels_.push_back({rise + rise_t, i, LevelUse::low_patient});
    levels_.push_back({rise, i, LevelUse::nominal_up});
    levels_.push_back({fall, i, LevelUse::nominal_down});
    boundaries_[i].high.eager_up = true;
  }
  std::stable_sort(levels_.begin(), levels_.end(),
                   [](const Level& a, const Level& b) { return a.rpm < b.rpm; });
  // Between two pulses further apart than the slowest response, only a
  // time-out can tell the unit that the engine slowed down.
  const double patience_s = std::max(to_seconds(gauge.tolerance.response_to), 0.02);
  slow_rpm_ = 60.0 / (gauge.pulses_per_rev * patience_s);
}

void TriggerMoves::add(Segment segment) {
  segment.start.whole -= lag_;
  const bool begins = !begun_;
  if (begins) begin(segment.rpm(0));
  go_to(segment.rpm(0), segment.start.whole, nullptr, 0, 0);  // a step, if it is one
  if (begins)
    for (Boundary& state : boundaries_) state.crossed_up = state.crossed_down = 0;
  if (segment.shape == Segment::Shape::sine) {
    // From one extreme to the next the sine is monotone.
    double from = 0;
    for (double half = 0; from < segment.lasts_s; ++half) {
      const double to = std::min((half + 0.5) * 0.5 * segment.period_s, segment.lasts_s);
      if (to > from) piece(segment, from, to);
      from = to;
    }
  } else {
    piece(segment, 0, segment.lasts_s);
  }
  now_ = at(segment, segment.lasts_s);
}

void TriggerMoves::finish(Nanos until) {
  until += lag_;
  if (!begun_) begin(0);
  now_ = std::max(until, now_);
  expire(now_);
}

void TriggerMoves::begin(double rpm) {
  begun_ = true;
  rpm_ = starts_unknown_ ? rpm : 0.0;
  passed_ = static_cast<std::size_t>(std::upper_bound(levels_.begin(), levels_.end(), rpm_,
                                                      [](double r, const Level& l) { return r < l.rpm; }) -
                                     levels_.begin());
  std::vector<bool> below_patient(boundaries_.size(), true);
  for (std::size_t k = 0; k < passed_; ++k) {
    Boundary& state = boundaries_[levels_[k].boundary];
    switch (levels_[k].use) {
      case LevelUse::high_eager:
        if (!starts_unknown_) state.high.above = true;
        break;
      case LevelUse::high_patient:
        below_patient[levels_[k].boundary] = false;
        if (starts_unknown_) state.high.above = true;
        break;
      case LevelUse::low_patient: state.low.above = true; break;
      case LevelUse::nominal_up: state.nominal_above = true; break;
      default: break;
    }
  }
  for (std::size_t i = 0; i < boundaries_.size(); ++i) {
    Boundary& state = boundaries_[i];
    // A patient level that it is beyond from the beginning has no crossing that says so.
    state.high.sure = below_patient[i];
    state.low.sure = state.low.above;
    beginning_.push_back({state.high.above, state.low.above, state.high.sure, state.low.sure});
  }
}

// A monotone stretch of a segment.
void TriggerMoves::piece(const Segment& segment, double from, double to) {
  go_to(segment.rpm(to), at(segment, to), &segment, from, to);
}

// r moves to `rpm`, crossing levels on its way: all at `when` for a jump,
// else at the instants that the segment gives.
void TriggerMoves::go_to(double rpm, Nanos when, const Segment* segment, double from, double to) {
  const auto instant = [&](double level, bool rising) {
    if (segment == nullptr) return when;
    const double s = segment->reaches(level, rising, from).value_or(to);
    return at(*segment, std::clamp(s, from, to));
  };
  rpm_ = rpm;
  while (passed_ < levels_.size() && levels_[passed_].rpm <= rpm) {
    const Nanos t = instant(levels_[passed_].rpm, true);
    expire(t - 1);  // a wait that ends just now is cut short by this
    crossed(levels_[passed_], true, t);
    ++passed_;
  }
  while (passed_ > 0 && levels_[passed_ - 1].rpm > rpm) {
    const Nanos t = instant(levels_[passed_ - 1].rpm, false);
    expire(t - 1);  // a wait that ends just now is cut short by this
    crossed(levels_[passed_ - 1], false, t);
    --passed_;
  }
  expire(when);
}

void TriggerMoves::crossed(const Level& level, bool up, Nanos t) {
  Boundary& state = boundaries_[level.boundary];
  switch (level.use) {
    case LevelUse::high_eager:
      if (up) move_eagerly(state.high, level.boundary, t);
      break;
    case LevelUse::low_eager:
      if (!up) move_eagerly(state.low, level.boundary, t);
      break;
    case LevelUse::high_patient: beyond(state.high, level.boundary, !up, t); break;
    case LevelUse::low_patient: beyond(state.low, level.boundary, up, t); break;
    case LevelUse::nominal_up:
      if (up && !state.nominal_above) {
        state.nominal_above = true;
        moves_.push_back({t + fastest_ + lag_, level.boundary, TriggerMove::What::nominal, false, true});
        ++state.crossed_up;
      }
      break;
    case LevelUse::nominal_down:
      if (!up && state.nominal_above) {
        state.nominal_above = false;
        moves_.push_back({t + fastest_ + lag_, level.boundary, TriggerMove::What::nominal, false, false});
        ++state.crossed_down;
      }
      break;
  }
}

void TriggerMoves::move_eagerly(Trigger& trigger, std::size_t boundary, Nanos t) {
  if (trigger.above == trigger.eager_up) return;
  trigger.above = trigger.eager_up;
  moves_.push_back({t + fastest_, boundary, TriggerMove::What::state, trigger.eager_up, trigger.above});
}

void TriggerMoves::beyond(Trigger& trigger, std::size_t boundary, bool is_beyond, Nanos t) {
  if (is_beyond) {
    trigger.beyond_since = t;
    trigger.patient_at = t + (slowest_ - fastest_);
    next_expiry_ = std::min(next_expiry_, trigger.patient_at);
  } else {
    if (std::exchange(trigger.sure, false))
      moves_.push_back({t + fastest_, boundary, TriggerMove::What::sure, trigger.eager_up, false});
    trigger.beyond_since = -1;
    trigger.patient_at = -1;
  }
}

// Patient moves whose wait is over by `t`, r having stayed beyond.
void TriggerMoves::expire(Nanos t) {
  if (t < next_expiry_) return;
  next_expiry_ = std::numeric_limits<Nanos>::max();
  for (std::size_t i = 0; i < boundaries_.size(); ++i)
    for (Trigger* trigger : {&boundaries_[i].high, &boundaries_[i].low}) expire(*trigger, i, t);
}

void TriggerMoves::expire(Trigger& trigger, std::size_t boundary, Nanos t) {
  if (trigger.patient_at < 0) return;
  if (trigger.patient_at > t) {
    next_expiry_ = std::min(next_expiry_, trigger.patient_at);
    return;
  }
  const Nanos lost_at = trigger.beyond_since + signal_lost_ - fastest_;
  if (trigger.eager_up && rpm_ < slow_rpm_ && trigger.patient_at < lost_at) {
    trigger.patient_at = lost_at;
    expire(trigger, boundary, t);
    return;
  }
  if (trigger.above == trigger.eager_up) {
    trigger.above = !trigger.eager_up;
    moves_.push_back(
        {trigger.patient_at + fastest_, boundary, TriggerMove::What::state, trigger.eager_up, trigger.above});
  }
  if (!std::exchange(trigger.sure, true))
    moves_.push_back(
        {trigger.patient_at + fastest_, boundary, TriggerMove::What::sure, trigger.eager_up, true});
  trigger.patient_at = -1;
}

std::size_t TriggerMoves::crossings(std::size_t boundary, Direction direction) const {
  const Boundary& state = boundaries_.at(boundary - 1);
  return direction == Direction::rising ? state.crossed_up : state.crossed_down;
}

}  // namespace tachproof
