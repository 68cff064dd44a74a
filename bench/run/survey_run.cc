#include "bench/run/survey_run.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>
#include <variant>

#include <fmt/format.h>

#include "bench/files/step_text.h"
#include "bench/run/playing.h"
#include "core/base/text.h"
#include "core/signal/pulse_train.h"

namespace tachproof {

namespace {

class Loop {
 public:
  Loop(const NextSteps& next, double pulses_per_rev, Rig& rig, EvidenceWriter* writer, const RunHooks& hooks,
       const std::optional<WakeUp>& wake)
      : next_(next),
        wake_(wake),
        pulses_per_rev_(pulses_per_rev),
        rig_(rig),
        ahead_(survey_ahead(rig.watcher->facts())),
        kept_by_(writer),
        playing_(
            rig, hooks,
            [this](FindingKind kind, Nanos, std::string message) { found(kind, std::move(message)); },
            [this](std::span<const LampEvent> events, Nanos certain, const Seen& seen) {
              saw(events, certain, seen);
            }) {}

  SurveyEvidence run() {
    const bool played_all = playing_.play([this] { play_all(); });
    if (played_all && all_.seen_until < played())
      found(FindingKind::lost_evidence, fmt::format("the watcher reported lamps only up to {}, of {}",
                                                    say_time(all_.seen_until), say_time(played())));
    all_.waking = waking_;
    all_.lost = playing_.lost();
    all_.complete = played_all && all_.lost == 0 && all_.seen_until >= played();
    return std::move(all_);
  }

 private:
  void found(FindingKind kind, std::string message) {
    all_.findings.push_back({kind, all_.seen_until, "", "", std::move(message)});
  }

  // Of the survey; what the rig counts from its beginning.
  Nanos played() const { return playing_.played() - origin_; }
  Nanos collected() const { return playing_.collected() - origin_; }

  void play_all() {
    if (wake_ && !awake()) return;
    writer_ = kept_by_;
    play_on(next_);
    while (!playing_.stopped() && collected() < played()) {
      playing_.collect(origin_ + std::min(collected() + ahead_, played()));
      look_round();
    }
  }

  // Everything that `next` plans.
  void play_on(const NextSteps& next) {
    while (!playing_.stopped() && plan(next)) {
      while (!playing_.stopped() && played() < profile_.duration()) {
        play(std::min(played() + real_pace.stretch, profile_.duration()));
        if (playing_.played() > ahead_) playing_.collect(playing_.played() - ahead_);
        look_round();
      }
    }
  }

  // False: stopped, or it never answered and had to.
  bool awake() {
    bool answered = false;
    play_on([&](const SurveyView& view) -> std::vector<Step> {
      answered = answers(view);
      if (answered || played() >= wake_->longest) return {};
      return {Hold{asked_at(played()).rpm, 100 * ns_per_ms}};
    });
    if (playing_.stopped()) return false;
    if (!answered && wake_->needed) {
      all_.findings.push_back(
          {FindingKind::lost_evidence, 0, "", "",
           fmt::format(
               "the lamps stayed dark for {} at {} rpm, where {} is set{}: check the unit's power, its "
               "wiring, its pulses per revolution and that it wakes, then survey it again",
               say_span(played()), decimal(wake_->asks[0].rpm, 0), wake_->shows,
               wake_->asks.size() > 1 ? ", and where other lamps are set" : "")});
      all_.events.clear();
      all_.seen_until = 0;
      playing_.stop();
      return false;
    }
    bool rested = false;
    play_on([&](const SurveyView&) -> std::vector<Step> {
      if (std::exchange(rested, true)) return {};
      return {Hold{wake_->rest_rpm, wake_->rest}};
    });
    begin_here();
    return !playing_.stopped();
  }

  const WakeUp::Ask& asked_at(Nanos at) const {
    if (at < ns_per_s || wake_->asks.size() == 1) return wake_->asks[0];
    const auto turn = static_cast<std::size_t>((at - ns_per_s) / wake_->each);
    return wake_->asks[(turn + 1) % wake_->asks.size()];
  }

  // The right cue of what was asked when it showed it; or any light that lasts, as the unit may be wrong.
  bool answers(const SurveyView& view) const {
    Nanos first = -1;
    for (const LampEvent& event : view.events) {
      if (event.lit != 0 && first < 0) first = event.at;
      const WakeUp::Ask& asked = asked_at(event.at);
      const bool lit = (event.lit & (asked.steady | asked.blinking)) != 0;
      if (lit && (event.lit & ~asked.blinking) == asked.steady) return true;
    }
    return first >= 0 && view.seen_until - first > ns_per_s;
  }

  // The instant that has been played up to is instant 0 from now on.
  void begin_here() {
    waking_ = origin_ = playing_.played();
    lit_before_ = all_.events.empty() ? std::nullopt : std::optional(all_.events.back().lit);
    all_ = {};
    profile_ = {};
    segments_told_ = 0;
    pulses_.clear();
    next_pulse_ = 0;
    generated_ = 0;
    next_action_ = 0;
  }

  // False: nothing more is planned, or there is nothing left to plan by.
  bool plan(const NextSteps& next) {
    if (playing_.lost() > 0) return false;
    const std::vector<Step> more = next(all_.view());
    if (more.empty()) return false;
    all_.steps.insert(all_.steps.end(), more.begin(), more.end());
    profile_ = Profile(all_.steps);
    for (; segments_told_ < profile_.segments().size(); ++segments_told_) {
      Segment segment = profile_.segments()[segments_told_];
      if (writer_ != nullptr) writer_->rpm(segment);
      segment.start.whole += origin_;
      rig_.source->rpm(segment);
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
        rig_.source->press(*press, origin_ + actions[next_action_].at);
    const auto first = pulses_.begin() + static_cast<std::ptrdiff_t>(next_pulse_);
    const auto last = std::upper_bound(first, pulses_.end(), until);
    std::vector<Nanos> block(first, last);
    for (Nanos& pulse : block) pulse += origin_;
    playing_.give(block, origin_ + until);
    next_pulse_ += block.size();
    all_.pulses += block.size();
  }

  void saw(std::span<const LampEvent> events, Nanos certain, const Seen& seen) {
    const std::size_t before = all_.events.size();
    for (const LampEvent& event : events) {
      if (origin_ == 0) {
        all_.events.push_back(event);
      } else if (event.at <= origin_) {
        lit_before_ = event.lit;
      } else {
        begin_lamps();
        all_.events.push_back({event.at - origin_, event.lit});
      }
    }
    if (certain > origin_) begin_lamps();
    all_.seen_until = std::max<Nanos>(certain - origin_, 0);
    all_.findings.insert(all_.findings.end(), seen.found.begin(), seen.found.end());
    all_.unsure_blinks |= seen.unsure_blinks;
    if (all_.untimed.empty()) all_.untimed = seen.untimed;
    if (seen.stamps) all_.stamps = seen.stamps;
    if (writer_ != nullptr) writer_->advance(std::span(all_.events).subspan(before), all_.seen_until);
  }

  // As a watcher begins: with what is lit at instant 0.
  void begin_lamps() {
    if (lit_before_) all_.events.push_back({0, *lit_before_});
    lit_before_.reset();
  }

  void look_round() {
    playing_.stop_asked();
    playing_.show(profile_.rpm_at(std::max<Nanos>(collected(), 0)));
  }

  const NextSteps& next_;
  const std::optional<WakeUp>& wake_;
  double pulses_per_rev_;
  Rig& rig_;
  Nanos ahead_;
  EvidenceWriter* kept_by_;           // of what is kept,
  EvidenceWriter* writer_ = nullptr;  // once it is

  SurveyEvidence all_;
  Profile profile_;
  std::size_t segments_told_ = 0;
  std::vector<Nanos> pulses_;  // generated; played up to `next_pulse_`
  std::size_t next_pulse_ = 0;
  std::uint64_t generated_ = 0;
  std::size_t next_action_ = 0;
  // Instants below are the survey's, the rig's less this.
  Nanos origin_ = 0, waking_ = 0;
  std::optional<Channels> lit_before_;  // at instant 0, not yet told
  Playing playing_;
};

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
                           const RunHooks& hooks, const std::optional<WakeUp>& wake) {
  return Loop(next, pulses_per_rev, rig, writer, hooks, wake).run();
}

std::optional<WakeUp> wake_up(const Gauge& gauge, Channels wired, bool trusted) {
  WakeUp wake;
  const double lowest = gauge.boundaries() > 0 ? gauge.windows[1].from_rpm : Profile::max_rpm;
  wake.rest_rpm = std::round(lowest / 2);
  Channels asked = 0;
  for (std::size_t w = 0; w < gauge.windows.size(); ++w) {
    const Cue& cue = gauge.windows[w].cue;
    const Channels lit = (cue.steady | cue.blinking) & wired;
    // Others only for lamps that have not been asked for.
    if ((lit & ~asked) == 0) continue;
    asked |= lit;
    const bool last = w + 1 == gauge.windows.size();
    const double from = gauge.windows[w].from_rpm;
    const double rpm = w == 0 ? wake.rest_rpm
                              : std::round(last ? std::min(from + 100, Profile::max_rpm)
                                                : (from + gauge.windows[w + 1].from_rpm) / 2);
    if (wake.asks.empty()) wake.shows = gauge.describe(cue);
    wake.asks.push_back({rpm, cue.steady & wired, cue.blinking & wired});
  }
  if (wake.asks.empty()) return std::nullopt;
  wake.rest = gauge.tolerance.response_to + gauge.tolerance.settle + 20 * ns_per_ms;
  wake.each = wake.rest + 280 * ns_per_ms;
  wake.needed = trusted;
  return wake;
}

RunResult judge_evidence(const Gauge& gauge, const JudgeSetup& setup, const SurveyEvidence& evidence,
                         EvidenceWriter* writer, EvidenceLog* log) {
  const Profile profile(evidence.steps);
  LoggedJudge judge(gauge, setup, log);
  if (writer != nullptr) judge.on_reach([writer](const Reach& reach) { writer->reach(reach); });
  for (const Segment& segment : profile.segments()) judge.rpm(segment);
  judge.lamps(evidence.events);
  for (const Finding& finding : evidence.findings) judge.found(finding);
  judge.pulses(evidence.pulses);
  judge.lost(evidence.lost);
  if (evidence.unsure_blinks != 0) judge.unsure_blinks(evidence.unsure_blinks);
  if (!evidence.untimed.empty()) judge.untimed(evidence.untimed);
  if (evidence.stamps) judge.stamps(*evidence.stamps);
  return judge.finish(std::min(evidence.seen_until, profile.duration()), evidence.complete);
}

std::string scenario_yaml(const std::string& name, const std::vector<Step>& steps, double within_rpm) {
  std::string text = fmt::format(
      "# Planned while it was played: each stretch follows from what had been seen by then.\n"
      "format: 1\nkind: scenario\nname: {}\nprofile:\n",
      name);
  for (const Step& step : steps) text += "  - " + step_text(step) + "\n";
  return text + fmt::format("judge: {{thresholds: true, within: {}}}\n", within_rpm);
}

}  // namespace tachproof
