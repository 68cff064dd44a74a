#include "core/expectation.h"

#include <algorithm>
#include <cmath>
#include <numbers>

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
};

enum class LevelUse { high_eager, high_patient, low_eager, low_patient, nominal_up, nominal_down };

struct Level {
  double rpm = 0;
  std::size_t boundary = 0;
  LevelUse use = LevelUse::nominal_up;
};

struct Move {
  Nanos at = 0;
  std::size_t boundary = 0;
  bool high = false;  // of the highest state, else of the lowest
  bool above = false;
};

struct BoundaryState {
  Trigger high, low;
  bool nominal_above = false;
  Nanos nominal_rising = 0, nominal_falling = 0;
  // What the settings demanded last: nothing yet, below or above.
  enum class Certain { nothing, below, above } certain = Certain::nothing;
  Nanos open_since = 0;
  bool high_above = false, low_above = false;  // as published, in time order
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
    if (!started_) start(segment.rpm(0));
    go_to(segment.rpm(0), segment.start.whole, nullptr, 0, 0);  // a step, if it is one
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

  Decided take() {
    publish(now_ + fastest_);
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
    for (std::size_t k = 0; k < passed_; ++k) {
      BoundaryState& state = boundaries_[levels_[k].boundary];
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
    for (BoundaryState& state : boundaries_) {
      state.high_above = state.high.above;
      state.low_above = state.low.above;
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
      case LevelUse::high_patient: beyond(state.high, !up, t); break;
      case LevelUse::low_patient: beyond(state.low, up, t); break;
      case LevelUse::nominal_up:
        if (up && !state.nominal_above) {
          state.nominal_above = true;
          state.nominal_rising = t + fastest_ + lag_;
        }
        break;
      case LevelUse::nominal_down:
        if (!up && state.nominal_above) {
          state.nominal_above = false;
          state.nominal_falling = t + fastest_ + lag_;
        }
        break;
    }
  }

  void move_eagerly(Trigger& trigger, std::size_t boundary, Nanos t) {
    if (trigger.above == trigger.eager_up) return;
    trigger.above = trigger.eager_up;
    moves_.push_back({t + fastest_, boundary, trigger.eager_up, trigger.above});
  }

  void beyond(Trigger& trigger, bool is_beyond, Nanos t) {
    if (is_beyond) {
      trigger.beyond_since = t;
      trigger.patient_at = t + (slowest_ - fastest_);
      next_expiry_ = std::min(next_expiry_, trigger.patient_at);
    } else {
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
      moves_.push_back({trigger.patient_at + fastest_, boundary, trigger.eager_up, trigger.above});
    }
    trigger.patient_at = -1;
  }

  // Applies, in time order, the moves that no later segment can precede.
  void publish(Nanos until) {
    std::stable_sort(moves_.begin(), moves_.end(), [](const Move& a, const Move& b) { return a.at < b.at; });
    std::size_t done = 0;
    for (; done < moves_.size() && moves_[done].at <= until; ++done) apply(moves_[done]);
    moves_.erase(moves_.begin(), moves_.begin() + static_cast<std::ptrdiff_t>(done));
    known_until_ = std::max(known_until_, until);
  }

  void apply(Move move) {
    move.at = std::max<Nanos>(move.at, 0);
    BoundaryState& state = boundaries_[move.boundary];
    const bool was_open = state.high_above != state.low_above;
    (move.high ? state.high_above : state.low_above) = move.above;
    (move.high ? highest_ : lowest_) += move.above ? 1 : std::size_t(-1);
    if (reaches_.empty() || reaches_.back().from != move.at)
      reaches_.push_back({move.at, lowest_, highest_});
    else
      reaches_.back() = {move.at, lowest_, highest_};

    const bool open = state.high_above != state.low_above;
    if (open && !was_open) state.open_since = move.at;
    if (open) return;
    using Certain = BoundaryState::Certain;
    const Certain now = state.low_above ? Certain::above : Certain::below;
    if (state.certain != Certain::nothing && state.certain != now) {
      const bool rising = now == Certain::above;
      const std::size_t b = move.boundary + 1;
      const Nanos nominal = rising ? state.nominal_rising : state.nominal_falling;
      transitions_.push_back({b, rising ? Direction::rising : Direction::falling,
                              rising ? gauge_.rising_rpm(b) : gauge_.falling_rpm(b), state.open_since,
                              std::clamp(nominal, state.open_since, move.at), move.at});
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
  std::vector<Move> moves_;
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
Expectation::Decided Expectation::take() { return impl_->take(); }

ExpectedRun expect(const Gauge& gauge, const Profile& profile, const ExpectationOptions& options) {
  Expectation expectation(gauge, options);
  for (const Segment& segment : profile.segments()) expectation.add(segment);
  expectation.finish(profile.duration());
  Expectation::Decided decided = expectation.take();
  return {std::move(decided.reaches), std::move(decided.transitions)};
}

}  // namespace tachproof
