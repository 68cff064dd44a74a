#include "bench/run/survey_run.h"

#include <algorithm>
#include <array>
#include <exception>
#include <variant>

#include <fmt/format.h>

#include "bench/run/checked_watcher.h"
#include "core/pulse_train.h"
#include "core/text.h"

namespace tachproof {

namespace {

class Loop {
 public:
  Loop(const NextSteps& next, double pulses_per_rev, Rig& rig, EvidenceWriter* writer, const RunHooks& hooks)
      : next_(next),
        pulses_per_rev_(pulses_per_rev),
        rig_(rig),
        watch_(*rig.watcher),
        ahead_(survey_ahead(rig.watcher->facts())),
        writer_(writer),
        hooks_(hooks) {}

  SurveyEvidence run() {
    const bool played_all = guarded([this] { play_all(); });
    rig_.source->end();
    rig_.watcher->end();
    if (played_all && all_.seen_until < played_)
      found(FindingKind::lost_evidence,
            fmt::format("the watcher vouches for what it saw up to {} only, of {}", say_time(all_.seen_until),
                        say_time(played_)));
    all_.complete = played_all && all_.lost == 0 && all_.seen_until >= played_;
    return std::move(all_);
  }

 private:
  void found(FindingKind kind, std::string message) {
    all_.findings.push_back({kind, all_.seen_until, "", "", std::move(message)});
  }

  template <class Step>
  bool guarded(Step step) {
    try {
      step();
      return !stopped_;
    } catch (const std::exception& e) {
      found(FindingKind::bench_fault, e.what());
      return false;
    }
  }

  void play_all() {
    rig_.source->begin();
    rig_.watcher->begin();
    while (!stopped_ && plan()) {
      while (!stopped_ && played_ < profile_.duration()) {
        play(std::min(played_ + real_pace.stretch, profile_.duration()));
        if (played_ > ahead_) collect(played_ - ahead_);
        look_round();
      }
    }
    while (!stopped_ && collected_ < played_) {
      collect(std::min(collected_ + ahead_, played_));
      look_round();
    }
  }

  // False: nothing more is planned, or there is nothing left to plan by.
  bool plan() {
    if (all_.lost > 0) return false;
    const std::vector<Step> more = next_(all_.view());
    if (more.empty()) return false;
    all_.steps.insert(all_.steps.end(), more.begin(), more.end());
    profile_ = Profile(all_.steps);
    for (; segments_told_ < profile_.segments().size(); ++segments_told_) {
      const Segment& segment = profile_.segments()[segments_told_];
      rig_.source->rpm(segment);
      if (writer_ != nullptr) writer_->rpm(segment);
    }
    generate();
    return true;
  }

  // The train of the longer profile begins with the train of the shorter one.
  void generate() {
    PulseTrain train(profile_, pulses_per_rev_);
    std::vector<Nanos> pulses;
    std::array<Nanos, 1024> chunk;
    std::uint64_t to_skip = generated_;
    while (const std::size_t n = train.next(chunk)) {
      const std::size_t skipped = std::min<std::uint64_t>(to_skip, n);
      to_skip -= skipped;
      pulses.insert(pulses.end(), chunk.begin() + static_cast<std::ptrdiff_t>(skipped),
                    chunk.begin() + static_cast<std::ptrdiff_t>(n));
    }
    generated_ += pulses.size();
    pulses_.erase(pulses_.begin(), pulses_.begin() + static_cast<std::ptrdiff_t>(next_pulse_));
    next_pulse_ = 0;
    pulses_.insert(pulses_.end(), pulses.begin(), pulses.end());
    if (writer_ != nullptr) writer_->pulses(pulses, profile_.duration());
  }

  void play(Nanos until) {
    const std::vector<Action>& actions = profile_.actions();
    for (; next_action_ < actions.size() && actions[next_action_].at <= until; ++next_action_)
      if (const Press* press = std::get_if<Press>(&actions[next_action_].what))
        rig_.source->press(*press, actions[next_action_].at);
    const auto first = pulses_.begin() + static_cast<std::ptrdiff_t>(next_pulse_);
    const auto last = std::upper_bound(first, pulses_.end(), until);
    const std::span<const Nanos> block(first, last);
    rig_.source->play({block, until});
    next_pulse_ += block.size();
    all_.pulses += block.size();
    played_ = until;
  }

  void collect(Nanos until) {
    const std::size_t before = all_.events.size();
    const Seen seen = watch_.collect(until, all_.events);
    all_.seen_until = std::min(until, seen.until);
    if (seen.lost > 0) {
      all_.lost += seen.lost;
      found(FindingKind::lost_evidence, seen.lost_why);
    }
    all_.findings.insert(all_.findings.end(), seen.found.begin(), seen.found.end());
    all_.unsure_blinks |= seen.unsure_blinks;
    if (all_.untimed.empty()) all_.untimed = seen.untimed;
    if (writer_ != nullptr) writer_->advance(std::span(all_.events).subspan(before), all_.seen_until);
    collected_ = until;
  }

  void look_round() {
    if (const auto why = hooks_.stop ? hooks_.stop() : std::nullopt) {
      stopped_ = true;
      found(FindingKind::bench_fault, *why);
    }
    if (hooks_.progress && glances_.due())
      hooks_.progress(
          {collected_, profile_.rpm_at(collected_), all_.events.empty() ? 0 : all_.events.back().lit});
  }

  const NextSteps& next_;
  double pulses_per_rev_;
  Rig& rig_;
  CheckedWatcher watch_;
  Nanos ahead_;
  EvidenceWriter* writer_;
  const RunHooks& hooks_;

  SurveyEvidence all_;
  Profile profile_;
  std::size_t segments_told_ = 0;
  std::vector<Nanos> pulses_;  // generated; played up to `next_pulse_`
  std::size_t next_pulse_ = 0;
  std::uint64_t generated_ = 0;
  std::size_t next_action_ = 0;
  Nanos played_ = 0;     // the source has been given everything until here,
  Nanos collected_ = 0;  // and the watcher has been asked until here
  bool stopped_ = false;
  Glances glances_;
};

// To the nanosecond, without trailing zeros.
std::string ms_text(Nanos t) {
  std::string digits = fmt::format("{}.{:06}", t / ns_per_ms, t % ns_per_ms);
  digits.erase(digits.find_last_not_of('0') + 1);
  if (digits.back() == '.') digits.pop_back();
  return digits + "ms";
}

std::string step_yaml(const Step& step) {
  if (const auto* hold = std::get_if<Hold>(&step))
    return fmt::format("{{hold: {}, for: {}}}", hold->rpm, ms_text(hold->lasts));
  const auto& ramp = std::get<RampByTime>(step);
  return fmt::format("{{ramp: {}, for: {}}}", ramp.to_rpm, ms_text(ramp.lasts));
}

}  // namespace

SurveySetup survey_setup_of(const Rig& rig, double within_rpm) {
  SurveySetup setup;
  setup.judge = judge_setup_of(rig);
  setup.judge.what = survey_asks(within_rpm);
  setup.within_rpm = within_rpm;
  setup.ahead = survey_ahead(rig.watcher->facts());
  return setup;
}

SurveyEvidence play_survey(const NextSteps& next, double pulses_per_rev, Rig& rig, EvidenceWriter* writer,
                           const RunHooks& hooks) {
  return Loop(next, pulses_per_rev, rig, writer, hooks).run();
}

RunResult judge_evidence(const Gauge& gauge, const JudgeSetup& setup, const SurveyEvidence& evidence,
                         EvidenceWriter* writer) {
  const Profile profile(evidence.steps);
  Judge judge(gauge, setup);
  if (writer != nullptr) judge.on_reach([writer](const Reach& reach) { writer->reach(reach); });
  for (const Segment& segment : profile.segments()) judge.rpm(segment);
  judge.lamps(evidence.events);
  for (const Finding& finding : evidence.findings) judge.found(finding);
  judge.pulses(evidence.pulses);
  judge.lost(evidence.lost);
  if (evidence.unsure_blinks != 0) judge.unsure_blinks(evidence.unsure_blinks);
  if (!evidence.untimed.empty()) judge.untimed(evidence.untimed);
  return judge.finish(std::min(evidence.seen_until, profile.duration()), evidence.complete);
}

std::string scenario_yaml(const std::string& name, const std::vector<Step>& steps, double within_rpm) {
  std::string text = fmt::format(
      "# Planned while it was played: each stretch follows from what had been seen by then.\n"
      "format: 1\nkind: scenario\nname: {}\nprofile:\n",
      name);
  for (const Step& step : steps) text += "  - " + step_yaml(step) + "\n";
  return text + fmt::format("judge: {{thresholds: true, within: {}}}\n", within_rpm);
}

}  // namespace tachproof
