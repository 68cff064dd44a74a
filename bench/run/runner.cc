#include "bench/run/runner.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <deque>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "bench/record/folder_format.h"
#include "bench/run/deeds.h"
#include "bench/run/evidence_writer.h"
#include "bench/run/pace.h"
#include "bench/run/playing.h"
#include "core/base/text.h"
#include "core/signal/pulse_train.h"

namespace tachproof {

namespace {

constexpr Nanos disturbed_before = 10 * ns_per_ms;
constexpr Nanos slowest_held_period = ns_per_s;
constexpr Nanos answer_patience = 100 * ns_per_ms;

class Run {
 public:
  Run(const RunPlan& plan, Rig& rig, RunFolder& folder, const RunHooks& hooks)
      : plan_(plan),
        rig_(rig),
        folder_(folder),
        hooks_(hooks),
        source_(rig.source->facts()),
        pace_(pace_of(source_, rig.watcher->facts(), hooks.in_real_time)),
        judge_(plan.gauge, judge_setup(plan, rig), hooks.evidence),
        train_(plan.profile, plan.gauge.pulses_per_rev, plan.noise, plan.seed),
        deeds_(deeds_of(plan.profile, *rig.source)),
        writer_(folder, plan.gauge),
        playing_(
            rig, hooks,
            [this](FindingKind kind, Nanos at, std::string message) { found(kind, at, std::move(message)); },
            [this](std::span<const LampEvent> events, Nanos certain, const Seen& seen) {
              saw(events, certain, seen);
            }) {
    judge_.on_reach([this](const Reach& reach) { writer_.reach(reach); });
    if (hooks.finding) judge_.on_finding(hooks.finding);
  }

  RunOutcome run() {
    const bool played_all = playing_.play([this] { play_all(); });
    const Nanos seen_until = playing_.seen_until();
    const bool all_written = playing_.done([&] { writer_.close(seen_until); });
    const Nanos duration = plan_.profile.duration() + held_;
    if (played_all && seen_until < duration)
      found(FindingKind::lost_evidence, seen_until,
            fmt::format("the watcher reported lamps only up to {}, of {}", say_time(seen_until),
                        say_time(duration)));
    const bool complete = played_all && all_written && playing_.lost() == 0 && seen_until >= duration;
    RunOutcome outcome{judge_.finish(std::min(seen_until, duration), complete), writer_.trace()};
    outcome.result.evidence.lost = std::max(outcome.result.evidence.lost, playing_.lost());
    if (!source_.note.empty()) outcome.result.notes.push_back(source_.note);
    if (source_.lag > 0)
      outcome.result.notes.push_back(
          fmt::format("the source played the profile in steps, within {:.1f} ms and {:.2f} rpm of it; every "
                      "uncertainty allows for that. capture.vcd has the pulses of the profile; journal.jsonl "
                      "has what the source read back",
                      to_ms(source_.lag), source_.rpm));
    return outcome;
  }

 private:
  static JudgeSetup judge_setup(const RunPlan& plan, const Rig& rig) {
    JudgeSetup setup = judge_setup_of(rig);
    setup.what = plan.what;
    setup.noise = plan.noise;
    return setup;
  }

  void found(FindingKind kind, Nanos at, std::string message) {
    judge_.found({kind, at, "", "", std::move(message)});
  }

  void play_all() {
    for (;;) {
      while (question_ < deeds_.size() && !needs_person(deeds_[question_])) ++question_;
      const bool question = question_ < deeds_.size();
      const Nanos at = held_ + (question ? deeds_[question_].at : plan_.profile.duration());
      play_and_see(at);
      if (playing_.stopped() || !question) return;
      put(deeds_[question_], at);
      if (playing_.stopped()) return;
      ++question_;
    }
  }

  // A question, a button that the rig cannot press, or a supply that it cannot cut or set.
  bool needs_person(const Action& action) const {
    if (std::holds_alternative<Ask>(action.what)) return true;
    if (std::holds_alternative<PowerOff>(action.what)) return !rig_.source->can_power();
    if (std::holds_alternative<Supply>(action.what)) return !rig_.source->can_supply();
    const Press* press = std::get_if<Press>(&action.what);
    return press != nullptr && button_named(plan_.gauge, press->action) != nullptr &&
           !rig_.source->can_press(press->action);
  }

  bool question_ahead() const { return question_ < deeds_.size(); }

  // Everything until `until` has been played and seen, unless the run is
  // stopped. In real time the train has then gone on into the question.
  void play_and_see(Nanos until) {
    const auto [stretch, ahead] = pace_;
    const bool goes_on = !source_.virtual_time && question_ahead();
    while (playing_.collected() < until) {
      if (playing_.stop_asked()) return;
      if (playing_.played() < until)
        play(std::min(playing_.played() + stretch, until));
      else if (goes_on)
        hold_on();
      const bool drains = playing_.played() == until && !goes_on;
      const Nanos see = drains ? std::min(playing_.collected() + std::max(stretch, ahead), until)
                               : std::min(playing_.played() - ahead, until);
      if (see > playing_.collected()) playing_.collect(see);
      playing_.show(plan_.profile.rpm_at(playing_.collected() - held_));
    }
  }

  // A question in real time: a little more of the train at the rpm of its
  // moment, in whole periods so that the phase is kept, and all that is to
  // follow that much later.
  void hold_on() {
    const double rpm = plan_.profile.rpm_at(deeds_[question_].at - 1);
    const double per_s = rpm * plan_.gauge.pulses_per_rev / 60;
    const double period = 1e9 / std::max(per_s, 1e-9);
    const bool silent = period > static_cast<double>(slowest_held_period);
    const double periods = silent ? 0 : std::ceil(static_cast<double>(real_pace.stretch) / period);
    const Nanos lasts = silent ? real_pace.stretch : std::llround(periods * period);
    const Segment hold{Segment::Shape::constant, {playing_.played(), 0}, to_seconds(lasts), rpm, 0, 0, 0};
    rig_.source->rpm(hold);
    judge_.rpm(hold);
    writer_.rpm(hold);
    // The last pulse may be a little longer ago, on a ramp, or a lot, after a missing one.
    const Nanos until = playing_.played() + lasts;
    const Nanos last = std::max<Nanos>(last_pulse_.value_or(playing_.played()),
                                       playing_.played() - std::llround(std::min(period, 1e9)));
    std::vector<Nanos> pulses;
    for (double i = 1; i <= periods; ++i)
      pulses.push_back(std::max<Nanos>(last + std::llround(i * period), playing_.played() + 1));
    for (std::size_t i = next_pulse_; i < pulses_.size(); ++i) pulses_[i] += lasts;
    put_off_disturbances(lasts);
    held_ += lasts;
    ++stretches_held_;
    give(pulses, until);
  }

  void play(Nanos until) {
    feed_rpm(until);
    do_until(until);
    // A little further than needed: a disturbance is told to the judge before
    // the lamps just ahead of it are.
    generate(until + 2 * disturbed_before);
    const auto first = pulses_.begin() + static_cast<std::ptrdiff_t>(next_pulse_);
    const auto last = std::upper_bound(first, pulses_.end(), until);
    const std::span<const Nanos> block(first, last);
    next_pulse_ += block.size();
    give(block, until);
  }

  void give(std::span<const Nanos> block, Nanos until) {
    playing_.give(block, until);
    writer_.pulses(block, until);
    judge_.pulses(block.size());
    if (!block.empty()) last_pulse_ = block.back();
  }

  void feed_rpm(Nanos until) {
    const std::vector<Segment>& segments = plan_.profile.segments();
    for (; next_segment_ < segments.size(); ++next_segment_) {
      Segment segment = segments[next_segment_];
      // What begins with a question waits for its answer.
      const Nanos begins = segment.start.whole + (segment.start.frac_ns > 0 ? 1 : 0);
      const bool held_back = !source_.virtual_time && question_ahead() && begins >= deeds_[question_].at;
      segment.start.whole += held_;
      if (segment.start.whole > until || held_back) return;
      do_until(segment.start.whole);
      rig_.source->rpm(segment);
      judge_.rpm(segment);
      writer_.rpm(segment);
    }
  }

  // What the profile does to the unit by then; the judge is told before the rpm that goes with it.
  void do_until(Nanos until) {
    for (; next_action_ < question_ && deeds_[next_action_].at + held_ <= until; ++next_action_) {
      const Deed& deed = deeds_[next_action_];
      const Nanos at = deed.at + held_;
      if (needs_person(deed)) continue;  // he has done it
      if (const Press* press = std::get_if<Press>(&deed.what)) {
        rig_.source->press(*press, at);
        judge_.pressed(press->action, at, press->lasts);
        folder_.journal(press_line(at, press->action));
      } else if (const PowerOff* off = std::get_if<PowerOff>(&deed.what)) {
        rig_.source->power_off(off->lasts, at);
        judge_.power_off(at, off->lasts);
        folder_.journal(power_line(at, off->lasts));
      } else if (const Supply* supply = std::get_if<Supply>(&deed.what)) {
        rig_.source->supply(*supply, at);
        judge_.supplied(*supply, at);
        folder_.journal(supply_line(at, *supply));
      }
    }
  }

  void generate(Nanos until) {
    pulses_.erase(pulses_.begin(), pulses_.begin() + static_cast<std::ptrdiff_t>(next_pulse_));
    next_pulse_ = 0;
    while (!train_ended_ && (pulses_.empty() || pulses_.back() <= until)) {
      const std::size_t n = train_.next(chunk_);
      train_ended_ = n == 0;
      for (std::size_t i = 0; i < n; ++i) pulses_.push_back(chunk_[i] + held_);
      for (const Disturbance& d : train_.take_disturbances())
        disturbances_.emplace_back(d.at + held_, disturbance_lasts(plan_.gauge, plan_.profile.rpm_at(d.at)));
    }
    for (; told_ < disturbances_.size() && disturbances_[told_].first <= until; ++told_) {
      const auto [at, lasts] = disturbances_[told_];
      judge_.disturbed(at - disturbed_before, at + lasts);
    }
    while (told_ > 0 && disturbances_.front().first <= playing_.played()) {
      disturbances_.pop_front();
      --told_;
    }
  }

  // Those that have been told but not played yet are told again.
  void put_off_disturbances(Nanos by) {
    told_ = 0;
    for (auto& [at, lasts] : disturbances_) {
      if (at <= playing_.played())
        ++told_;
      else
        at += by;
    }
  }

  void saw(std::span<const LampEvent> events, Nanos certain, const Seen& seen) {
    for (const Finding& finding : seen.found) judge_.found(finding);
    if (seen.unsure_blinks != 0) judge_.unsure_blinks(seen.unsure_blinks);
    if (!seen.untimed.empty()) judge_.untimed(seen.untimed);
    if (seen.stamps) judge_.stamps(*seen.stamps);
    judge_.lights(seen.lights);
    judge_.lamps(events);
    judge_.seen_until(certain);
    writer_.advance(events, certain);
    note_played();
  }

  void note_played() {
    for (const PlayedChange& change : rig_.source->take_played())
      folder_.journal(played_line(change.due, change.sent, change.answered, change.hz));
    for (const SuppliedChange& change : rig_.source->take_supplied())
      folder_.journal(supplied_line(change.due, change.from, change.to, change.volts, change.within_v));
  }

  // `held`: so many stretches went by until the answer.
  std::optional<std::string> ask_person(const Ask& ask, std::size_t& held) {
    for (const std::size_t before = stretches_held_;; held = stretches_held_ - before) {
      const Nanos patience = source_.virtual_time ? answer_patience : 0;
      if (const std::optional<Reply> reply = hooks_.ask_person(ask, patience)) return reply->text;
      if (playing_.stop_asked()) return std::nullopt;
      if (source_.virtual_time) continue;
      hold_on();
      playing_.collect(playing_.played() - pace_.ahead);
    }
  }

  // Asks a person to do what the rig cannot; the rpm is kept until he says that he has. `missing`: what the
  // run lacks where nobody is there. `by` and `held` are of when he said so.
  struct ByHand {
    bool stopped = false, done = false;
    Nanos by = 0;
    std::size_t held = 0;
  };
  ByHand let_do(const std::string& button, const std::string& question, const std::string& missing,
                Nanos at) {
    Ask ask;
    ask.button = button;
    ask.question = question;
    ByHand hand;
    hand.done = hooks_.ask_person && ask_person(ask, hand.held).has_value();
    hand.stopped = playing_.stopped();
    hand.by = playing_.played();
    if (!hand.done && !hand.stopped) found(FindingKind::lost_evidence, at, missing);
    return hand;
  }

  void let_press(const Press& press, Nanos at) {
    judge_.pressing(press.action, at);
    folder_.journal(press_line(at, press.action));
    const ByHand hand = let_do(
        press.action, "Press '" + press.action + "' on the unit now, then Enter",
        fmt::format("nobody was there to press '{}', and this rig cannot: run it in a terminal, or wire "
                    "the button to an output",
                    press.action),
        at);
    if (hand.stopped) return;
    const Nanos by = hand.by + press.lasts;
    if (hand.done) judge_.released(by);
    folder_.journal(released_line(hand.done ? std::optional(by) : std::nullopt, press.action, hand.held));
  }

  // The same for the supply: what he is asked to do with it.
  bool let_feed(const std::string& what, const std::string& question, Nanos at) {
    const ByHand hand = let_do("supply", question,
                               "nobody was there to do it (" + question +
                                   "), and this rig cannot: run it in a terminal, or give the rig a `supply`",
                               at);
    if (hand.stopped) return false;
    folder_.journal(fed_line(hand.done ? std::optional(hand.by) : std::nullopt, what, hand.held));
    return hand.done;
  }

  // When it happened is known between the question and the answer.
  void let_cut(const Deed& deed, Nanos at) {
    if (!deed.second) {
      judge_.cutting(at);
      folder_.journal(power_line(at, lasts(deed)));
      cut_ = {};
      if (!let_feed("cut", "Cut the unit's supply now, then Enter", at)) return;
      cut_.by_hand = true;
      cut_.off_from = at;
      cut_.off_to = playing_.played();
    } else if (let_feed("back", "Switch the unit's supply on again, then Enter", at) && cut_.by_hand) {
      cut_.on_from = at;
      cut_.on_to = playing_.played();
      judge_.cut(cut_);
    }
  }

  void let_set(const Deed& deed, const Supply& supply, Nanos at) {
    if (!deed.second) folder_.journal(supply_line(at, supply));
    const double volts = deed.second ? supply.to_v : supply.from_v;
    judge_.supplying({volts, volts, 0}, at);
    if (let_feed("set", fmt::format("Set the unit's supply to {:.1f} V, then Enter", volts), at))
      judge_.supplied_by(playing_.played());
  }

  void put(const Deed& deed, Nanos at) {
    if (const Press* press = std::get_if<Press>(&deed.what)) return let_press(*press, at);
    if (std::holds_alternative<PowerOff>(deed.what)) return let_cut(deed, at);
    if (const Supply* supply = std::get_if<Supply>(&deed.what)) return let_set(deed, *supply, at);
    const Ask& ask = std::get<Ask>(deed.what);
    std::optional<std::string> answer = rig_.watcher->answer(ask);
    std::size_t held = 0;
    if (!answer && hooks_.ask_person) answer = ask_person(ask, held);
    if (playing_.stopped()) return;
    AnswerResult result = judge_answer(ask, at, judge_.peaks(at), answer);
    // Where only a person says that the supply was cut, the unit may still have its peak from before.
    if (cut_.by_hand && result.verdict == Verdict::fail && ask.wants == Ask::Wants::peak &&
        judge_answer(ask, at, {{deed.peak_rpm, deed.peak_rpm}}, answer).verdict == Verdict::pass)
      result.verdict = Verdict::undecided;
    judge_.answered(result);
    folder_.journal(answer_line(result, held));
  }

  const RunPlan& plan_;
  Rig& rig_;
  RunFolder& folder_;
  const RunHooks& hooks_;
  SourceFacts source_;
  Pace pace_;
  LoggedJudge judge_;
  PulseTrain train_;
  const std::vector<Deed> deeds_;
  PowerCut cut_;  // the last one by hand
  EvidenceWriter writer_;

  std::array<Nanos, 4096> chunk_{};
  std::vector<Nanos> pulses_;  // generated; played up to `next_pulse_`
  std::size_t next_pulse_ = 0;
  std::size_t next_segment_ = 0;
  std::size_t next_action_ = 0;
  std::size_t question_ = 0;  // the next action that is one
  std::size_t stretches_held_ = 0;
  Nanos held_ = 0;                   // by how much the run is longer than the profile so far
  std::optional<Nanos> last_pulse_;  // given to the source
  std::deque<std::pair<Nanos, Nanos>>
      disturbances_;  // instant, how long it lasts; `told_` of them to the judge
  std::size_t told_ = 0;
  bool train_ended_ = false;
  Playing playing_;
};

}  // namespace

Nanos disturbance_lasts(const Gauge& gauge, double rpm) {
  constexpr double periods = 4;
  constexpr double slowest_pulses_per_s = 1;
  const double pulses_per_s = std::max(rpm * gauge.pulses_per_rev / 60, slowest_pulses_per_s);
  return gauge.tolerance.response_to + gauge.tolerance.settle + from_seconds(periods / pulses_per_s);
}

JudgeSetup judge_setup_of(const Rig& rig) {
  JudgeSetup setup;
  setup.wired = rig.watcher->facts().wired;
  setup.bench = bench_facts(rig);
  return setup;
}

RunOutcome run_scenario(const RunPlan& plan, Rig& rig, RunFolder& folder, const RunHooks& hooks) {
  return Run(plan, rig, folder, hooks).run();
}

}  // namespace tachproof
