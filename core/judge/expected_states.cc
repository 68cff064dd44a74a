#include "core/judge/expected_states.h"

#include <algorithm>

#include "core/judge/power_watch.h"
#include "core/judge/rpm_history.h"
#include "core/judge/supply_move.h"

namespace tachproof {
namespace {

class States {
 public:
  States(const Gauge& gauge, const Profile& profile, const ExpectationOptions& options)
      : gauge_(gauge), profile_(profile), options_(options), follower_(gauge), history_(1.0) {
    for (const Segment& segment : profile.segments()) history_.add(segment);
  }

  std::vector<ExpectedState> all() {
    begin(0, 0);
    for (const Action& action : profile_.actions()) {
      if (const auto* off = std::get_if<PowerOff>(&action.what)) {
        const Nanos awake = PowerWatch::awake_by(gauge_, action.at + off->lasts);
        follower_.power_lost(awake);
        begin(action.at, answered_by(gauge_, awake));
      } else if (const auto* supply = std::get_if<Supply>(&action.what)) {
        feed(*supply, action.at);
      } else if (const auto* press = std::get_if<Press>(&action.what)) {
        const auto [lowest, highest] =
            history_.range_between(action.at - gauge_.tolerance.response_to - options_.source_lag, action.at);
        const double rpm = history_.rpm_at(action.at);
        const auto what =
            follower_.press(press->action, action.at, {rpm, std::min(lowest, rpm), std::max(highest, rpm)});
        if (what.takes || what.dims) begin(action.at, answered_by(gauge_, action.at + press->lasts));
      }
    }
    states_.back().to = profile_.duration();
    for (ExpectedState& state : states_)
      if (state.state.unknown.empty()) expect_in(state);
    return std::move(states_);
  }

 private:
  void begin(Nanos at, Nanos answered) {
    if (!states_.empty()) states_.back().to = at;
    states_.push_back({follower_.now(), at, answered, 0, {}});
  }

  // As StateJudge::supplied, for a unit that comes through all dips in time.
  void feed(const Supply& supply, Nanos at) {
    const SupplyMove move = supply_move(supply, at, gauge_.supply);
    if (volts_ && *volts_ == supply.from_v && supply.from_v == supply.to_v) return;
    volts_ = supply.to_v;
    if (at == 0 && states_.size() == 1 && !move.outside_from && supply.from_v == supply.to_v) {
      follower_.fed_now("at " + volts_text(supply.to_v), 0);
      states_.back().state = follower_.now();
      return;
    }
    follower_.fed(move.outside_from.has_value());
    const Nanos still = move.still_from();
    const Nanos due = move.back_at ? std::max(still, PowerWatch::awake_by(gauge_, *move.back_at)) : still;
    follower_.fed_now("at " + volts_text(supply.to_v), move.outside_from ? due : 0);
    begin(at, answered_by(gauge_, due));
  }

  void expect_in(ExpectedState& state) {
    ExpectationOptions options = options_;
    if (state.from > 0) options.before = ExpectationOptions::Before::unknown;
    Gauge gauge = state.state.gauge;
    gauge.tolerance.rpm += state.state.doubt_rpm;
    Expectation expectation(gauge, options);
    if (state.from > 0) expectation.disturbed(state.from, state.answered_from);
    for (const Segment& segment : profile_.segments())
      if (segment.start.whole >= state.from && segment.start.whole < state.to) expectation.add(segment);
    expectation.finish(state.to);
    Expectation::Decided decided = expectation.take(state.to);
    state.run = {std::move(decided.reaches), std::move(decided.transitions)};
    std::erase_if(state.run.transitions, [&](const ExpectedTransition& t) {
      return t.earliest < state.answered_from || t.latest > state.to;
    });
  }

  const Gauge& gauge_;
  const Profile& profile_;
  const ExpectationOptions& options_;
  StateFollower follower_;
  RpmHistory history_;
  std::vector<ExpectedState> states_;
  std::optional<double> volts_;
};

}  // namespace

bool changes_states(const Gauge& gauge, const Profile& profile) {
  return std::any_of(profile.actions().begin(), profile.actions().end(), [&](const Action& action) {
    if (std::holds_alternative<PowerOff>(action.what) || std::holds_alternative<Supply>(action.what))
      return true;
    const auto* press = std::get_if<Press>(&action.what);
    const Button* button = press == nullptr ? nullptr : button_named(gauge, press->action);
    return button != nullptr && !std::holds_alternative<ShowPeak>(button->does);
  });
}

std::vector<ExpectedState> expect_states(const Gauge& gauge, const Profile& profile,
                                         const ExpectationOptions& options) {
  if (!changes_states(gauge, profile)) {
    ExpectedState only;
    only.state.gauge = gauge;
    only.to = profile.duration();
    only.run = expect(gauge, profile, options);
    return {only};
  }
  return States(gauge, profile, options).all();
}

void tell(StateJudge& judge, const Profile& profile) {
  std::size_t next = 0;
  const std::vector<Action>& actions = profile.actions();
  for (const Segment& segment : profile.segments()) {
    for (; next < actions.size() && actions[next].at <= segment.start.whole; ++next)
      if (const auto* off = std::get_if<PowerOff>(&actions[next].what))
        judge.power_off(actions[next].at, off->lasts);
      else if (const auto* supply = std::get_if<Supply>(&actions[next].what))
        judge.supplied(*supply, actions[next].at);
      else if (const auto* press = std::get_if<Press>(&actions[next].what))
        judge.pressed(press->action, actions[next].at, press->lasts);
    judge.rpm(segment);
  }
}

}  // namespace tachproof
