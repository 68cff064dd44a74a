#include "core/judge/reaches.h"

#include <algorithm>
#include <limits>
#include <utility>

namespace tachproof {

Reaches::Reaches(const Gauge& gauge) : boundaries_(gauge.boundaries()) {
  for (std::size_t i = 0; i < boundaries_.size(); ++i) {
    boundaries_[i].rising_rpm = gauge.rising_rpm(i + 1);
    boundaries_[i].falling_rpm = gauge.falling_rpm(i + 1);
  }
}

void Reaches::begin(const std::vector<TriggerSides>& beginning) {
  begun_ = true;
  lowest_ = highest_ = 0;
  for (std::size_t i = 0; i < boundaries_.size(); ++i) {
    Boundary& state = boundaries_[i];
    state.high_above = state.high_raw = beginning[i].high_above;
    state.low_above = state.low_raw = beginning[i].low_above;
    state.sure_below = beginning[i].surely_below;
    state.sure_above = beginning[i].surely_above;
    lowest_ += state.low_above;
    highest_ += state.high_above;
    if (state.high_above == state.low_above)
      state.certain = state.low_above ? Boundary::Certain::above : Boundary::Certain::below;
  }
  reaches_.push_back({0, lowest_, highest_});
}

void Reaches::add(std::vector<TriggerMove>& moves) {
  moves_.insert(moves_.end(), moves.begin(), moves.end());
  moves.clear();
}

void Reaches::disturbed(Nanos from, Nanos to) {
  from = std::max(from, known_until_);
  if (to <= from) return;
  if (!disturbances_.empty() && from <= disturbances_.back().to)
    disturbances_.back().to = std::max(disturbances_.back().to, to);
  else
    disturbances_.push_back({from, to});
}

Expectation::Decided Reaches::take() {
  Expectation::Decided decided;
  decided.reaches = std::exchange(reaches_, {});
  decided.transitions = std::exchange(transitions_, {});
  decided.known_until = known_until_;
  return decided;
}

// Applies, in time order, the moves that no later segment can precede. A long wave
// leaves many for later: what is in order stays so.
void Reaches::publish(Nanos until) {
  const auto earlier = [](const TriggerMove& a, const TriggerMove& b) { return a.at < b.at; };
  const auto fresh = moves_.begin() + static_cast<std::ptrdiff_t>(sorted_);
  std::stable_sort(fresh, moves_.end(), earlier);
  std::inplace_merge(moves_.begin() + static_cast<std::ptrdiff_t>(next_move_), fresh, moves_.end(), earlier);
  sorted_ = moves_.size();
  for (;;) {
    const bool moves = next_move_ < moves_.size() && moves_[next_move_].at <= until;
    const Nanos change = next_change();
    if (change <= until && (!moves || change < moves_[next_move_].at)) {
      disturbed_now_ ? end_disturbance() : begin_disturbance();
    } else if (moves) {
      apply(moves_[next_move_++]);
    } else {
      break;
    }
  }
  if (2 * next_move_ >= moves_.size()) {
    moves_.erase(moves_.begin(), moves_.begin() + static_cast<std::ptrdiff_t>(next_move_));
    sorted_ = moves_.size();
    next_move_ = 0;
  }
  known_until_ = std::max(known_until_, until);
}

// Of being disturbed: the next beginning or end. What moves at its very end comes first.
Nanos Reaches::next_change() const {
  if (disturbances_.empty()) return std::numeric_limits<Nanos>::max();
  return disturbed_now_ ? disturbances_.front().to : disturbances_.front().from;
}

// The unit may believe anything: it may be on either side of every boundary.
void Reaches::begin_disturbance() {
  disturbed_now_ = true;
  const Nanos at = std::max<Nanos>(disturbances_.front().from, 0);
  for (std::size_t i = 0; i < boundaries_.size(); ++i) {
    boundaries_[i].high_doubt = boundaries_[i].low_doubt = true;
    update(i, at);
  }
}

// It believes what it should again, and is where that alone puts it; in a deadband
// it may be where the disturbance left it.
void Reaches::end_disturbance() {
  disturbed_now_ = false;
  const Nanos at = std::max<Nanos>(disturbances_.front().to, 0);
  disturbances_.pop_front();
  for (std::size_t i = 0; i < boundaries_.size(); ++i) {
    settle_doubt(boundaries_[i]);
    update(i, at);
  }
}

void Reaches::settle_doubt(Boundary& state) {
  if (state.sure_below || state.high_raw) state.high_doubt = false;
  if (state.sure_above || !state.low_raw) state.low_doubt = false;
}

void Reaches::apply(TriggerMove move) {
  move.at = std::max<Nanos>(move.at, 0);
  Boundary& state = boundaries_[move.boundary];
  switch (move.what) {
    case TriggerMove::What::state: (move.high ? state.high_raw : state.low_raw) = move.above; break;
    case TriggerMove::What::sure: (move.high ? state.sure_below : state.sure_above) = move.above; break;
    case TriggerMove::What::nominal:
      (move.above ? state.nominal_rising : state.nominal_falling) = move.at;
      return;
  }
  if (!disturbed_now_) settle_doubt(state);
  update(move.boundary, move.at);
}

// Publishes what has become of a boundary.
void Reaches::update(std::size_t i, Nanos at) {
  Boundary& state = boundaries_[i];
  const bool high = state.high_raw || state.high_doubt, low = state.low_raw && !state.low_doubt;
  if (high == state.high_above && low == state.low_above) return;
  const bool was_open = state.high_above != state.low_above;
  highest_ += static_cast<std::size_t>(high) - static_cast<std::size_t>(state.high_above);
  lowest_ += static_cast<std::size_t>(low) - static_cast<std::size_t>(state.low_above);
  state.high_above = high;
  state.low_above = low;
  if (reaches_.empty() || reaches_.back().from != at)
    reaches_.push_back({at, lowest_, highest_});
  else
    reaches_.back() = {at, lowest_, highest_};

  const bool open = high != low;
  if (open && !was_open) state.open_since = at;
  if (open) return;
  using Certain = Boundary::Certain;
  const Certain now = low ? Certain::above : Certain::below;
  if (state.certain != Certain::nothing && state.certain != now) {
    const bool rising = now == Certain::above;
    const std::size_t b = i + 1;
    const Nanos nominal = rising ? state.nominal_rising : state.nominal_falling;
    const Nanos since = was_open ? state.open_since : at;
    transitions_.push_back({b, rising ? Direction::rising : Direction::falling,
                            rising ? state.rising_rpm : state.falling_rpm, since,
                            std::clamp(nominal, since, at), at});
  }
  state.certain = now;
}

}  // namespace tachproof
