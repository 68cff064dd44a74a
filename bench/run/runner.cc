#include "bench/run/runner.h"

#include <algorithm>
#include <array>
#include <chrono>
#include <exception>
#include <vector>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "bench/run/evidence_writer.h"
#include "core/pulse_train.h"
#include "core/text.h"

namespace tachproof {

namespace {

// In virtual time a stretch only costs its overhead. In real time the source
// is kept `ahead` of the lamps, so that it never runs dry.
constexpr Nanos virtual_stretch = ns_per_s;
constexpr Nanos real_stretch = 50 * ns_per_ms;
constexpr Nanos real_ahead = 250 * ns_per_ms;
constexpr Nanos disturbed_before = 10 * ns_per_ms;
constexpr auto show_every = std::chrono::milliseconds(100);

class Run {
 public:
  Run(const RunPlan& plan, Rig& rig, RunFolder& folder, const RunHooks& hooks)
      : plan_(plan),
        rig_(rig),
        folder_(folder),
        hooks_(hooks),
        source_(rig.source->facts()),
        watcher_(rig.watcher->facts()),
        judge_(plan.gauge, judge_setup()),
        train_(plan.profile, plan.gauge.pulses_per_rev, plan.noise, plan.seed),
        writer_(folder, plan.gauge) {
    judge_.on_reach([this](const Reach& reach) { writer_.reach(reach); });
  }

  RunOutcome run() {
    const bool played_all = guarded([this] { play_all(); });
    rig_.source->end();
    rig_.watcher->end();
    const bool all_written = guarded([this] { writer_.close(seen_.until); });
    const Nanos duration = plan_.profile.duration();
    if (played_all && seen_.until < duration)
      found(FindingKind::lost_evidence, seen_.until,
            fmt::format("the watcher vouches for what it saw up to {} only, of {}", say_time(seen_.until),
                        say_time(duration)));
    const bool complete = played_all && all_written && lost_ == 0 && seen_.until >= duration;
    RunOutcome outcome{judge_.finish(std::min(seen_.until, duration), complete), writer_.trace()};
    outcome.result.complete = outcome.result.complete && complete;
    outcome.result.evidence.lost = std::max(outcome.result.evidence.lost, lost_);
    if (!complete) outcome.result.verdict = worst(outcome.result.verdict, Verdict::undecided);
    return outcome;
  }

 private:
  JudgeSetup judge_setup() const {
    JudgeSetup setup;
    setup.what = plan_.what;
    setup.noise = plan_.noise;
    setup.wired = watcher_.wired;
    setup.source_tick = source_.tick;
    setup.watcher_resolution = watcher_.resolution;
    setup.stamp_uncertainty = watcher_.stamp_uncertainty;
    setup.clock_ppm = source_.clock_ppm;
    return setup;
  }

  void found(FindingKind kind, Nanos at, std::string message) {
    judge_.found({kind, at, "", "", std::move(message)});
  }

  // False: it threw, and a finding says what.
  template <class Step>
  bool guarded(Step step) {
    try {
      step();
      return !stopped_;
    } catch (const std::exception& e) {
      found(FindingKind::bench_fault, seen_.until, e.what());
      return false;
    }
  }

  void play_all() {
    rig_.source->begin();
    rig_.watcher->begin();
    const std::vector<Action>& actions = plan_.profile.actions();
    std::size_t next_question = 0;
    for (;;) {
      while (next_question < actions.size() && !std::holds_alternative<Ask>(actions[next_question].what))
        ++next_question;
      const bool question = next_question < actions.size();
      play_and_see(question ? actions[next_question].at : plan_.profile.duration());
      if (stopped_ || !question) return;
      put(actions[next_question++]);
    }
  }

  // Everything until `until` has been played and seen, unless the run is stopped.
  void play_and_see(Nanos until) {
    const Nanos stretch = source_.virtual_time ? virtual_stretch : real_stretch;
    const Nanos ahead = source_.virtual_time ? 0 : real_ahead;
    while (collected_ < until) {
      if (stop_asked()) return;
      if (played_ < until) play(std::min(played_ + stretch, until));
      const Nanos see =
          played_ == until ? std::min(collected_ + std::max(stretch, ahead), until) : played_ - ahead;
      if (see > collected_) collect(see);
      show();
    }
  }

  bool stop_asked() {
    const std::optional<std::string> why = hooks_.stop ? hooks_.stop() : std::nullopt;
    if (!why) return false;
    stopped_ = true;
    found(FindingKind::bench_fault, seen_.until, *why);
    return true;
  }

  void play(Nanos until) {
    feed_rpm(until);
    press_until(until);
    // A little further than needed: a disturbance is told to the judge before
    // the lamps just ahead of it are.
    generate(until + 2 * disturbed_before);
    const auto first = pulses_.begin() + static_cast<std::ptrdiff_t>(next_pulse_);
    const auto last = std::upper_bound(first, pulses_.end(), until);
    const std::span<const Nanos> block(first, last);
    rig_.source->play({block, until});
    judge_.pulses(block.size());
    next_pulse_ += block.size();
    played_ = until;
  }

  void feed_rpm(Nanos until) {
    const std::vector<Segment>& segments = plan_.profile.segments();
    for (; next_segment_ < segments.size() && segments[next_segment_].start.whole <= until; ++next_segment_) {
      judge_.rpm(segments[next_segment_]);
      writer_.rpm(segments[next_segment_]);
    }
  }

  void press_until(Nanos until) {
    const std::vector<Action>& actions = plan_.profile.actions();
    for (; next_press_ < actions.size() && actions[next_press_].at <= until; ++next_press_)
      if (const Press* press = std::get_if<Press>(&actions[next_press_].what)) {
        rig_.source->press(*press, actions[next_press_].at);
        folder_.journal(nlohmann::ordered_json{
            {"kind", "press"}, {"at_s", to_seconds(actions[next_press_].at)}, {"action", press->action}}
                            .dump());
      }
  }

  void generate(Nanos until) {
    pulses_.erase(pulses_.begin(), pulses_.begin() + static_cast<std::ptrdiff_t>(next_pulse_));
    next_pulse_ = 0;
    while (!train_ended_ && (pulses_.empty() || pulses_.back() <= until)) {
      const std::size_t n = train_.next(chunk_);
      train_ended_ = n == 0;
      const std::span<const Nanos> more(chunk_.data(), n);
      pulses_.insert(pulses_.end(), more.begin(), more.end());
      writer_.pulses(more);
      for (const Disturbance& d : train_.take_disturbances())
        judge_.disturbed(d.at - disturbed_before,
                         d.at + disturbance_lasts(plan_.gauge, plan_.profile.rpm_at(d.at)));
    }
  }

  void collect(Nanos until) {
    events_.clear();
    seen_ = rig_.watcher->collect(until, events_);
    for (const LampEvent& event : events_) {
      if (event.at < last_event_ || event.at > until)
        throw RigError(
            fmt::format("the watcher handed over a change at {}, which is out of order", say_time(event.at)));
      last_event_ = event.at;
      lit_ = event.lit;
    }
    if (seen_.lost > 0) {
      lost_ += seen_.lost;
      found(FindingKind::lost_evidence, until,
            seen_.lost_why.empty() ? fmt::format("the watcher lost {} changes", seen_.lost) : seen_.lost_why);
    }
    const Nanos certain = std::min(until, seen_.until);
    judge_.lamps(events_);
    judge_.seen_until(certain);
    writer_.advance(events_, certain);
    collected_ = until;
  }

  void put(const Action& action) {
    const Ask& ask = std::get<Ask>(action.what);
    std::optional<std::string> answer = rig_.watcher->answer(ask);
    if (!answer && hooks_.ask_person) answer = hooks_.ask_person(ask);
    const AnswerResult result = judge_answer(ask, action.at, action.peak_rpm, answer);
    judge_.answered(result);
    folder_.journal(nlohmann::ordered_json{{"kind", "answer"},
                                           {"at_s", to_seconds(action.at)},
                                           {"question", result.question},
                                           {"answer", result.answer},
                                           {"verdict", word(result.verdict)}}
                        .dump());
  }

  void show() {
    if (!hooks_.progress) return;
    const auto now = std::chrono::steady_clock::now();
    if (now - shown_ < show_every) return;
    shown_ = now;
    hooks_.progress({collected_, plan_.profile.rpm_at(collected_), lit_});
  }

  const RunPlan& plan_;
  Rig& rig_;
  RunFolder& folder_;
  const RunHooks& hooks_;
  SourceFacts source_;
  WatcherFacts watcher_;
  Judge judge_;
  PulseTrain train_;
  EvidenceWriter writer_;

  std::array<Nanos, 4096> chunk_{};
  std::vector<Nanos> pulses_;  // generated; played up to `next_pulse_`
  std::size_t next_pulse_ = 0;
  std::size_t next_segment_ = 0;
  std::size_t next_press_ = 0;
  bool train_ended_ = false;
  bool stopped_ = false;
  Nanos played_ = 0;     // the source has been given everything until here,
  Nanos collected_ = 0;  // the watcher has been asked until here,
  Seen seen_;            // and vouches for this
  std::uint64_t lost_ = 0;
  std::vector<LampEvent> events_;
  Nanos last_event_ = 0;
  Channels lit_ = 0;
  std::chrono::steady_clock::time_point shown_;
};

}  // namespace

Nanos disturbance_lasts(const Gauge& gauge, double rpm) {
  constexpr double periods = 4;
  constexpr double slowest_pulses_per_s = 1;
  const double pulses_per_s = std::max(rpm * gauge.pulses_per_rev / 60, slowest_pulses_per_s);
  return gauge.tolerance.response_to + gauge.tolerance.settle + from_seconds(periods / pulses_per_s);
}

RunOutcome run_scenario(const RunPlan& plan, Rig& rig, RunFolder& folder, const RunHooks& hooks) {
  return Run(plan, rig, folder, hooks).run();
}

}  // namespace tachproof
