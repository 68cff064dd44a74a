#include "core/judge/expectation.h"

#include <algorithm>
#include <cmath>
#include <deque>
#include <limits>
#include <numbers>
#include <utility>

namespace tachproof {
namespace {

Nanos at(const Segment& segment, double s) {
  return segment.start.whole + std::llround(segment.start.frac_ns + s * 1e9);
}

// One bound of the reachable states of one boundary. It moves towards its own
// side (`eager`) as soon as any believable rpm allows, and away from it only
// when every believable rpm demands it (`patient`): r must have stayed beyond
// the patient level for as long as the responses differ.
struct Trigger {
  bool above = false;
  bool eager_up = false;    // the highest state: eager to go up
  Nanos beyond_since = -1;  // r passed the patient level then; -1: it is not beyond
  Nanos patient_at = -1;    // when the patient move happens, if r stays
  bool sure = false;        // r has been beyond the patient level for long enough
};

enum class LevelUse { high_eager, high_patient, low_eager, low_patient, nominal_up, nominal_down };

struct Level {
  double rpm = 0;
  std::size_t boundary = 0;
  LevelUse use = LevelUse::nominal_up;
};

struct Move {
  enum class What {
    state,   // the highest or the lowest state of a boundary changes
    sure,    // every believable rpm is (or is no longer) beyond the patient level: the
             // unit is on that side whatever it did before
    nominal  // the exact threshold, at the fastest response
  };
  Nanos at = 0;
  std::size_t boundary = 0;
  What what = What::state;
  bool high = false;   // of the highest state, else of the lowest
  bool above = false;  // state: its side; sure: it is; nominal: rising
};

struct Disturbed {
  Nanos from = 0, to = 0;
};

struct BoundaryState {
  Trigger high, low;
  bool nominal_above = false;
  Nanos nominal_rising = 0, nominal_falling = 0;
  std::size_t crossed_up = 0, crossed_down = 0;  // by the profile, its beginning not counted
  // What the settings demanded last: nothing yet, below or above.
  enum class Certain { nothing, below, above } certain = Certain::nothing;
  Nanos open_since = 0;
  // In time order, as far as has been published. What the settings and the profile
  // alone say:
  bool high_raw = false, low_raw = false, sure_below = false, sure_above = false;
  // What a disturbance has left in doubt: the unit may still be above, or below.
  bool high_doubt = false, low_doubt = false;
  bool high_above = false, low_above = false;  // both together: as published
};

}  // namespace

class Expectation::Impl {
 public:
  Impl(const Gauge& gauge, const ExpectationOptions& options)
      : gauge_(gauge),
        options_(options),
        lag_(options.source_lag),
        // As if the profile came that much sooner and the unit might be twice as much slower.
        slowest_(gauge.tolerance.response_to + 2 * lag_),
        fastest_(gauge.tolerance.response_from),
        boundaries_(gauge.boundaries()) {
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

  void add(Segment segment) {
    segment.start.whole -= lag_;
    const bool begins = !started_;
    if (!started_) start(segment.rpm(0));
    go_to(segment.rpm(0), segment.start.whole, nullptr, 0, 0);  // a step, if it is one
    if (begins)
      for (BoundaryState& state : boundaries_) state.crossed_up = state.crossed_down = 0;
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

  void finish(Nanos until) {
    until += lag_;
    if (!started_) start(0);
    expire(std::max(until, now_));
    now_ = std::max(until, now_);
    publish(std::max(until, now_) + fastest_);
  }

  void disturbed(Nanos from, Nanos to) {
    from = std::max(from, known_until_);
    if (to <= from) return;
    if (!disturbances_.empty() && from <= disturbances_.back().to)
      disturbances_.back().to = std::max(disturbances_.back().to, to);
    else
      disturbances_.push_back({from, to});
  }

  std::size_t crossings(std::size_t boundary, Direction direction) const {
    const BoundaryState& state = boundaries_.at(boundary - 1);
    return direction == Direction::rising ? state.crossed_up : state.crossed_down;
  }

  Decided take(Nanos until) {
    publish(std::min(now_ + fastest_, until));
    Decided decided;
    decided.reaches = std::exchange(reaches_, {});
    decided.transitions = std::exchange(transitions_, {});
    decided.known_until = known_until_;
    return decided;
  }

 private:
  double tolerance(double rpm) const {
    return gauge_.tolerance.rpm + (options_.extra_rpm ? options_.extra_rpm(rpm) : 0.0);
  }

  void start(double rpm) {
    started_ = true;
    const bool unknown = options_.before == ExpectationOptions::Before::unknown;
    rpm_ = unknown ? rpm : 0.0;
    passed_ = static_cast<std::size_t>(std::upper_bound(levels_.begin(), levels_.end(), rpm_,
                                                        [](double r, const Level& l) { return r < l.rpm; }) -
                                       levels_.begin());
    std::vector<bool> below_patient(boundaries_.size(), true);
    for (std::size_t k = 0; k < passed_; ++k) {
      BoundaryState& state = boundaries_[levels_[k].boundary];
      if (levels_[k].use == LevelUse::high_patient) below_patient[levels_[k].boundary] = false;
      switch (levels_[k].use) {
        case LevelUse::high_eager:
          if (!unknown) state.high.above = true;
          break;
        case LevelUse::high_patient:
          if (unknown) state.high.above = true;
          break;
        case LevelUse::low_patient: state.low.above = true; break;
        case LevelUse::nominal_up: state.nominal_above = true; break;
        default: break;
      }
    }
    std::size_t lowest = 0, highest = 0;
    for (std::size_t i = 0; i < boundaries_.size(); ++i) {
      BoundaryState& state = boundaries_[i];
      state.high_above = state.high_raw = state.high.above;
      state.low_above = state.low_raw = state.low.above;
      // A patient level that it is beyond from the beginning has no crossing that says so.
      state.sure_below = state.high.sure = below_patient[i];
      state.sure_above = state.low.sure = state.low.above;
      lowest += state.low_above;
      highest += state.high_above;
      if (state.high_above == state.low_above)
        state.certain = state.low_above ? BoundaryState::Certain::above : BoundaryState::Certain::below;
    }
    reaches_.push_back({0, lowest, highest});
    lowest_ = lowest;
    highest_ = highest;
  }

  // A monotone stretch of a segment.
  void piece(const Segment& segment, double from, double to) {
    go_to(segment.rpm(to), at(segment, to), &segment, from, to);
  }

  // r moves to `rpm`, crossing levels on its way: all at `when` for a jump,
  // else at the instants that the segment gives.
  void go_to(double rpm, Nanos when, const Segment* segment, double from, double to) {
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

  void crossed(const Level& level, bool up, Nanos t) {
    BoundaryState& state = boundaries_[level.boundary];
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
          moves_.push_back({t + fastest_ + lag_, level.boundary, Move::What::nominal, false, true});
          ++state.crossed_up;
        }
        break;
      case LevelUse::nominal_down:
        if (!up && state.nominal_above) {
          state.nominal_above = false;
          moves_.push_back({t + fastest_ + lag_, level.boundary, Move::What::nominal, false, false});
          ++state.crossed_down;
        }
        break;
    }
  }

  void move_eagerly(Trigger& trigger, std::size_t boundary, Nanos t) {
    if (trigger.above == trigger.eager_up) return;
    trigger.above = trigger.eager_up;
    moves_.push_back({t + fastest_, boundary, Move::What::state, trigger.eager_up, trigger.above});
  }

  void beyond(Trigger& trigger, std::size_t boundary, bool is_beyond, Nanos t) {
    if (is_beyond) {
      trigger.beyond_since = t;
      trigger.patient_at = t + (slowest_ - fastest_);
      next_expiry_ = std::min(next_expiry_, trigger.patient_at);
    } else {
      if (std::exchange(trigger.sure, false))
        moves_.push_back({t + fastest_, boundary, Move::What::sure, trigger.eager_up, false});
      trigger.beyond_since = -1;
      trigger.patient_at = -1;
    }
  }

  // Patient moves whose wait is over by `t`, r having stayed beyond.
  void expire(Nanos t) {
    if (t < next_expiry_) return;
    next_expiry_ = std::numeric_limits<Nanos>::max();
    for (std::size_t i = 0; i < boundaries_.size(); ++i)
      for (Trigger* trigger : {&boundaries_[i].high, &boundaries_[i].low}) expire(*trigger, i, t);
  }

  void expire(Trigger& trigger, std::size_t boundary, Nanos t) {
    if (trigger.patient_at < 0) return;
    if (trigger.patient_at > t) {
      next_expiry_ = std::min(next_expiry_, trigger.patient_at);
      return;
    }
    const Nanos lost_at = trigger.beyond_since + gauge_.tolerance.signal_lost - fastest_;
    if (trigger.eager_up && rpm_ < slow_rpm_ && trigger.patient_at < lost_at) {
      trigger.patient_at = lost_at;
      expire(trigger, boundary, t);
      return;
    }
    if (trigger.above == trigger.eager_up) {
      trigger.above = !trigger.eager_up;
      moves_.push_back(
          {trigger.patient_at + fastest_, boundary, Move::What::state, trigger.eager_up, trigger.above});
    }
    if (!std::exchange(trigger.sure, true))
      moves_.push_back({trigger.patient_at + fastest_, boundary, Move::What::sure, trigger.eager_up, true});
    trigger.patient_at = -1;
  }

  // Applies, in time order, the moves that no later segment can precede. A long wave
  // leaves many for later: what is in order stays so.
  void publish(Nanos until) {
    const auto earlier = [](const Move& a, const Move& b) { return a.at < b.at; };
    const auto fresh = moves_.begin() + static_cast<std::ptrdiff_t>(sorted_);
    std::stable_sort(fresh, moves_.end(), earlier);
    std::inplace_merge(moves_.begin() + static_cast<std::ptrdiff_t>(next_move_), fresh, moves_.end(),
                       earlier);
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
  Nanos next_change() const {
    if (disturbances_.empty()) return std::numeric_limits<Nanos>::max();
    return disturbed_now_ ? disturbances_.front().to : disturbances_.front().from;
  }

  // The unit may believe anything: it may be on either side of every boundary.
  void begin_disturbance() {
    disturbed_now_ = true;
    const Nanos at = std::max<Nanos>(disturbances_.front().from, 0);
    for (std::size_t i = 0; i < boundaries_.size(); ++i) {
      boundaries_[i].high_doubt = boundaries_[i].low_doubt = true;
      update(i, at);
    }
  }

  // It believes what it should again, and is where that alone puts it; in a deadband
  // it may be where the disturbance left it.
  void end_disturbance() {
    disturbed_now_ = false;
    const Nanos at = std::max<Nanos>(disturbances_.front().to, 0);
    disturbances_.pop_front();
    for (std::size_t i = 0; i < boundaries_.size(); ++i) {
      settle_doubt(boundaries_[i]);
      update(i, at);
    }
  }

  static void settle_doubt(BoundaryState& state) {
    if (state.sure_below || state.high_raw) state.high_doubt = false;
    if (state.sure_above || !state.low_raw) state.low_doubt = false;
  }

  void apply(Move move) {
    move.at = std::max<Nanos>(move.at, 0);
    BoundaryState& state = boundaries_[move.boundary];
    switch (move.what) {
      case Move::What::state: (move.high ? state.high_raw : state.low_raw) = move.above; break;
      case Move::What::sure: (move.high ? state.sure_below : state.sure_above) = move.above; break;
      case Move::What::nominal: (move.above ? state.nominal_rising : state.nominal_falling) = move.at; return;
    }
    if (!disturbed_now_) settle_doubt(state);
    update(move.boundary, move.at);
  }

  // Publishes what has become of a boundary.
  void update(std::size_t i, Nanos at) {
    BoundaryState& state = boundaries_[i];
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
    using Certain = BoundaryState::Certain;
    const Certain now = low ? Certain::above : Certain::below;
    if (state.certain != Certain::nothing && state.certain != now) {
      const bool rising = now == Certain::above;
      const std::size_t b = i + 1;
      const Nanos nominal = rising ? state.nominal_rising : state.nominal_falling;
      const Nanos since = was_open ? state.open_since : at;
      transitions_.push_back({b, rising ? Direction::rising : Direction::falling,
                              rising ? gauge_.rising_rpm(b) : gauge_.falling_rpm(b), since,
                              std::clamp(nominal, since, at), at});
    }
    state.certain = now;
  }

  const Gauge gauge_;
  const ExpectationOptions options_;
  const Nanos lag_, slowest_, fastest_;
  double slow_rpm_ = 0;
  std::vector<Level> levels_;  // ascending
  std::vector<BoundaryState> boundaries_;
  std::size_t passed_ = 0;  // how many levels r has reached
  double rpm_ = 0;
  bool started_ = false;
  Nanos now_ = 0;
  Nanos next_expiry_ = std::numeric_limits<Nanos>::max();
  Nanos known_until_ = 0;
  std::vector<Move> moves_;  // those before `sorted_` in time order, before `next_move_` applied
  std::size_t sorted_ = 0, next_move_ = 0;
  std::deque<Disturbed> disturbances_;
  bool disturbed_now_ = false;  // as far as has been published
  std::vector<Reach> reaches_;
  std::vector<ExpectedTransition> transitions_;
  std::size_t lowest_ = 0, highest_ = 0;
};

Expectation::Expectation(const Gauge& gauge, const ExpectationOptions& options)
    : impl_(std::make_unique<Impl>(gauge, options)) {}
Expectation::~Expectation() = default;
Expectation::Expectation(Expectation&&) noexcept = default;
void Expectation::add(const Segment& segment) { impl_->add(segment); }
void Expectation::finish(Nanos until) { impl_->finish(until); }
void Expectation::disturbed(Nanos from, Nanos to) { impl_->disturbed(from, to); }
Expectation::Decided Expectation::take(Nanos until) { return impl_->take(until); }
std::size_t Expectation::crossings(std::size_t boundary, Direction direction) const {
  return impl_->crossings(boundary, direction);
}

ExpectedRun expect(const Gauge& gauge, const Profile& profile, const ExpectationOptions& options) {
  Expectation expectation(gauge, options);
  for (const Segment& segment : profile.segments()) expectation.add(segment);
  expectation.finish(profile.duration());
  Expectation::Decided decided = expectation.take();
  return {std::move(decided.reaches), std::move(decided.transitions)};
}

}  // namespace tachproof
