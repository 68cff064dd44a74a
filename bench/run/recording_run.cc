#include "bench/run/recording_run.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <deque>
#include <limits>
#include <utility>

#include <fmt/format.h>

#include "bench/formats/lamp_wires.h"
#include "bench/run/evidence_writer.h"
#include "bench/run/guarded.h"
#include "bench/run/recorded_tach.h"
#include "core/base/text.h"
#include "core/judge/allowance.h"
#include "core/judge/judge.h"

namespace tachproof {

namespace {

constexpr Nanos longest_unsaid_silence = ns_per_s / 2;
// The judge must know of a disturbance before it gets the rpm of that time.
constexpr Nanos held_back = 50 * ns_per_ms;
// More bounce than this for every pulse is no tach signal.
constexpr std::uint64_t most_bounces_a_pulse = 8;

// What a unit may have made of one odd edge, wherever it reads.
Nanos bounce_lasts(const Gauge& gauge) {
  return disturbance_lasts(gauge, gauge.boundaries() > 0 ? 0.7 * gauge.falling_rpm(1) : 0);
}

class RecordingRun {
 public:
  RecordingRun(const OpenRecording& recording, RunFolder& folder,
               const std::function<std::optional<std::string>()>& stop, EvidenceLog* evidence)
      : recording_(recording),
        gauge_(recording.gauge),
        stop_(stop),
        wires_(recording.wires, recording.wiring),
        reader_(open_recording(recording.file, wires_.wanted())),
        tach_(gauge_, recording.resolution),
        judge_(gauge_, judge_setup(), evidence),
        writer_(folder, gauge_) {
    judge_.on_reach([this](const Reach& reach) { writer_.reach(reach); });
    if (!recording.comes_near_a_boundary()) judge_.disturbed(0, recording.end);  // nothing to judge by
    // A unit may have counted it, or not.
    for (const Nanos at : recording.rare_bounces)
      disturb(at - recording.resolution, at + bounce_lasts(gauge_), true);
    if (!recording.rare_bounces.empty()) strict_.emplace(gauge_, judge_setup());
    if (recording.played) begin_scenario();
  }

  RunOutcome run() {
    bool whole = done([this] { read_all(); });
    if (whole) look_for_gaps();
    whole = done([this] { writer_.close(seen_until_); }) && whole;
    const bool complete = whole && !missing_;
    const Nanos until = std::min(seen_until_, judged_until_);
    RunOutcome outcome{judge_.finish(until, complete), writer_.trace()};
    if (strict_) doubt(outcome.result, strict_->finish(until, complete));
    note(outcome.result.notes);
    return outcome;
  }

 private:
  JudgeSetup judge_setup() const {
    JudgeSetup setup;
    setup.before = ExpectationOptions::Before::unknown;
    setup.wired = recording_.wired();
    setup.bench = recording_.bench();
    if (const PlayedScenario* played = recording_.played) {
      setup.what = played->scenario.judge;
      setup.noise = played->scenario.noise;
    } else {
      setup.what.thresholds = true;
      setup.rpm_uncertainty = recording_.rpm_uncertainty;
    }
    return setup;
  }

  void found(FindingKind kind, Nanos at, std::string message) {
    if (strict_) strict_->found({kind, at, "", "", message});
    judge_.found({kind, at, "", "", std::move(message)});
    missing_ = true;
  }

  // A unit that answered an odd edge may be as it should be, or not: what is only right because
  // those moments were left out is no pass.
  static void doubt(RunResult& result, const RunResult& strict) {
    if (result.verdict != Verdict::pass || strict.verdict == Verdict::pass) return;
    result.verdict = Verdict::undecided;
    std::string why =
        "the lamps are right only while the moments of contact bounce are left out: mend the tach signal and "
        "record again";
    if (!strict.findings.empty()) why += "; with them in: " + strict.findings.front().message;
    result.findings.insert(result.findings.begin(), {FindingKind::lost_evidence, 0, "", "", why});
  }

  template <class Step>
  bool done(Step step) {
    return guarded(step,
                   [this](FindingKind kind, std::string why) { found(kind, seen_until_, std::move(why)); }) &&
           !stopped_;
  }

  void read_all() {
    std::array<ChannelChange, 4096> block;
    while (const std::size_t n = reader_->next(block)) {
      const std::optional<std::string> why = stop_ ? stop_() : std::nullopt;
      if (why) {
        found(FindingKind::bench_fault, seen_until_, *why);
        stopped_ = true;
        return;
      }
      wires_.add({block.data(), n});
      // Further changes at the block's last instant may still come.
      take(std::max<Nanos>(block[n - 1].at - 1, 0));
    }
    wires_.finish();
    ended_ = true;
    take(reader_->end());
  }

  void take(Nanos until) {
    const std::vector<LineChange> changes = wires_.take_tach();
    std::vector<Nanos> pulses = tach_.add(changes, until);
    tach_.take_bounced();
    if (ended_) {
      const std::vector<Nanos> last = tach_.finish(until);
      pulses.insert(pulses.end(), last.begin(), last.end());
    }
    judge_.pulses(pulses.size());
    writer_.pulses(pulses, ended_ ? until : std::min(until, tach_.bounce().known_until()));
    const RpmTrack::Decided decided = tach_.track().take();
    for (const SignalGap& gap : decided.gaps) take(gap);
    for (const Segment& segment : decided.segments) {
      writer_.rpm(segment);
      if (!recording_.played) segments_.push_back(segment);
    }
    give_segments(ended_ ? std::numeric_limits<Nanos>::max() : decided.known_until - held_back);
    const std::vector<LampEvent> lamps = wires_.take_lamps();
    give_lamps(lamps, until);
    writer_.advance(lamps, until);
    seen_until_ = until;
  }

  // The judge wants them in time order, and before the rpm of that time.
  void disturb(Nanos from, Nanos to, bool bounced = false) {
    const Odd span{from, to, bounced};
    disturbances_.insert(std::upper_bound(disturbances_.begin(), disturbances_.end(), span,
                                          [](const Odd& a, const Odd& b) { return a.from < b.from; }),
                         span);
  }

  void give_segments(Nanos until) {
    for (; !disturbances_.empty() && disturbances_.front().from <= until; disturbances_.pop_front()) {
      const Odd& odd = disturbances_.front();
      judge_.disturbed(odd.from, odd.to);
      if (strict_ && !odd.bounced) strict_->disturbed(odd.from, odd.to);
    }
    for (; !segments_.empty(); segments_.pop_front()) {
      const Segment& segment = segments_.front();
      if (segment.start.whole > until - from_seconds(segment.lasts_s)) return;
      judge_.rpm(segment);
      if (strict_) strict_->rpm(segment);
    }
  }

  // What comes after the scenario's end is not asked for.
  void give_lamps(const std::vector<LampEvent>& lamps, Nanos until) {
    const auto end = std::upper_bound(lamps.begin(), lamps.end(), judged_until_,
                                      [](Nanos t, const LampEvent& e) { return t < e.at; });
    const std::span<const LampEvent> asked(lamps.data(), static_cast<std::size_t>(end - lamps.begin()));
    judge_.lamps(asked);
    judge_.seen_until(std::min(until, judged_until_));
    if (!strict_) return;
    strict_->lamps(asked);
    strict_->seen_until(std::min(until, judged_until_));
  }

  // Before the profile began the signal may have been anything.
  void begin_scenario() {
    const Profile& profile = recording_.played->profile;
    const ProfilePlace& place = recording_.place;
    if (place.offset_ns > 0) {
      const auto begins = static_cast<Nanos>(place.offset_ns);
      disturb(0, begins + disturbance_lasts(gauge_, profile.rpm_at(0)));
    }
    for (const auto& [from, to] : recording_.odd)
      disturb(from - RpmTrack::longest_span, to + disturbance_lasts(gauge_, profile_rpm_at(to)));
    judged_until_ = static_cast<Nanos>(place.to_recording_ns(static_cast<double>(profile.duration())));
    const std::vector<Segment> segments = place.segments(profile);
    segments_.assign(segments.begin(), segments.end());
    for (const Action& action : profile.actions())
      if (const Ask* ask = std::get_if<Ask>(&action.what))
        judge_.answered(
            judge_answer(*ask, static_cast<Nanos>(place.to_recording_ns(static_cast<double>(action.at))),
                         {{action.peak_rpm, action.peak_rpm}}, std::nullopt));
  }

  // From the last pulse that is as it should be, as the recorder has it, until what a
  // unit may have made of the odd one has left its average and its lamps have settled.
  void take(const SignalGap& gap) {
    const bool lost = gap.kind == SignalGap::Kind::lost;
    if (lost && profile_is_still(gap)) return;
    disturb(gap.from - recording_.resolution, gap.to + disturbance_lasts(gauge_, rpm_after(gap)));
    ++odd_pulses_[lost ? 0 : gap.kind == SignalGap::Kind::missing ? 1 : 2];
    if (lost && gap.to - gap.from > longest_unsaid_silence)
      found(FindingKind::no_signal, gap.from,
            fmt::format("the tach channel {} has no pulse from {} to {}, so the lamps were not judged then",
                        recording_.wiring.tach, say_time(gap.from), say_time(gap.to)));
  }

  double rpm_after(const SignalGap& gap) const {
    return recording_.played ? profile_rpm_at(gap.to) : tach_.track().rpm_at(gap.to);
  }
  double profile_rpm_at(Nanos at) const {
    return recording_.played->profile.rpm_at(
        static_cast<Nanos>(recording_.place.to_profile_ns(static_cast<double>(at))));
  }

  // The profile has no pulses there either, or one on its edge.
  bool profile_is_still(const SignalGap& gap) const {
    if (!recording_.played) return false;
    const auto from = static_cast<double>(gap.from), to = static_cast<double>(gap.to);
    constexpr int parts = 64;
    double rpm = 0;
    for (int k = 0; k < parts; ++k) {
      const double at = from + (to - from) * (k + 0.5) / parts;
      const double t = recording_.place.to_profile_ns(at);
      if (t < 0 || at > static_cast<double>(judged_until_)) continue;  // not asked for
      rpm += recording_.played->profile.rpm_at(static_cast<Nanos>(t)) / parts;
    }
    return rpm / 60e9 * gauge_.pulses_per_rev * (to - from) < 2;
  }

  void note(std::vector<std::string>& notes) const {
    const ContactBounce& bounce = tach_.bounce();
    const auto edges = [](std::uint64_t n, const char* what) {
      return fmt::format("{} tach {} {}", n, n == 1 ? "edge" : "edges", what);
    };
    if (bounce.left_out() > 0)
      notes.push_back(fmt::format(
          "{} contact bounce (closer than {} to the one before) and {} left out; the lamps were judged as if "
          "the unit did not count {}",
          edges(bounce.left_out(), bounce.left_out() == 1 ? "was" : "were"), say_span(bounce.closer_than()),
          bounce.left_out() == 1 ? "was" : "were", bounce.left_out() == 1 ? "it" : "them"));
    if (odd_pulses_[1] > 0)
      notes.push_back(fmt::format(
          "pulses were missing from the tach signal in {} {}; the rpm was taken from the pulses around them",
          odd_pulses_[1], odd_pulses_[1] == 1 ? "place" : "places"));
    if (odd_pulses_[2] > 0)
      notes.push_back(fmt::format(
          "the tach signal had a pulse too many in {} {}; the rpm was taken from the pulses around them",
          odd_pulses_[2], odd_pulses_[2] == 1 ? "place" : "places"));
    if (!recording_.played) return;
    const double ppm = recording_.place.stretch * 1e6;
    notes.push_back(fmt::format(
        "judged by the profile of {}, which begins {} into the recording (standard uncertainty {}); the "
        "recording's clock {}",
        recording_.played->scenario.name, say_time(static_cast<Nanos>(recording_.place.offset_ns)),
        say_span(from_seconds(recording_.place.uncertainty_s)),
        std::abs(ppm) < 0.5 ? std::string("agrees with the source's")
                            : fmt::format("runs {:.0f} ppm {} than the source's", std::abs(ppm),
                                          ppm < 0 ? "slower" : "faster")));
    if (!recording_.odd.empty())
      notes.push_back(fmt::format("the rpm of the tach channel left the profile in {} {} of up to {}",
                                  recording_.odd.size(), recording_.odd.size() == 1 ? "moment" : "moments",
                                  say_span(ProfileFit::longest_odd)));
  }

  void look_for_gaps() {
    if (reader_->truncated()) found(FindingKind::lost_evidence, seen_until_, reader_->trouble());
    for (const UnknownLevel& unknown : wires_.unknown())
      found(FindingKind::lost_evidence, unknown.first,
            fmt::format("channel {} was neither high nor low {}, first at {}", unknown.channel,
                        unknown.times == 1 ? "once" : fmt::format("{} times", unknown.times),
                        say_time(unknown.first)));
    if (const ContactBounce& bounce = tach_.bounce();
        bounce.left_out() > most_bounces_a_pulse * std::max<std::uint64_t>(recording_.pulses, 1))
      found(FindingKind::no_signal, 0,
            fmt::format("the tach channel {} has {} edges closer than {} to the one before and {} others; a "
                        "tach signal of {} pulses per revolution does not look like this: check the channel "
                        "and its threshold",
                        recording_.wiring.tach, bounce.left_out(), say_span(bounce.closer_than()),
                        recording_.pulses, gauge_.pulses_per_rev));
    if (recording_.played) {
      const Profile& profile = recording_.played->profile;
      const auto resolution = static_cast<double>(std::max(recording_.resolution, ns_per_ms));
      if (recording_.place.offset_ns < -resolution)
        found(FindingKind::lost_evidence, 0,
              fmt::format("the recording begins {} after the scenario did, so its beginning was not judged: "
                          "start the recording first",
                          say_span(static_cast<Nanos>(-recording_.place.offset_ns))));
      if (static_cast<double>(judged_until_ - seen_until_) > resolution)
        found(
            FindingKind::lost_evidence, seen_until_,
            fmt::format("the recording ends {} before the scenario, which lasts {}; the rest was not judged",
                        say_span(judged_until_ - seen_until_), say_span(profile.duration())));
    }
    if (recording_.pulses < 2)
      found(FindingKind::no_signal, 0,
            fmt::format("the tach channel {} has {} in {}, so there is no rpm to judge by: check the channel",
                        recording_.wiring.tach, recording_.pulses == 0 ? "no pulse" : "one pulse",
                        say_time(seen_until_)));
    else if (!recording_.comes_near_a_boundary())
      found(
          FindingKind::no_signal, 0,
          fmt::format(
              "the tach channel {} reads {:.0f} to {:.0f} rpm at {} pulses per revolution. That crosses no "
              "boundary of the gauge, so nothing was judged: check pulses_per_rev and the recording",
              recording_.wiring.tach, recording_.lowest_rpm, recording_.highest_rpm, gauge_.pulses_per_rev));
  }

  const OpenRecording& recording_;
  const Gauge& gauge_;
  const std::function<std::optional<std::string>()>& stop_;
  LampWires wires_;
  std::unique_ptr<RecordingReader> reader_;
  RecordedTach tach_;
  LoggedJudge judge_;
  std::optional<Judge> strict_;  // forgives no contact bounce
  EvidenceWriter writer_;

  std::deque<Segment> segments_;  // for the judge, not given yet
  struct Odd {
    Nanos from = 0, to = 0;
    bool bounced = false;
  };
  std::deque<Odd> disturbances_;               // not reported yet
  std::array<std::uint64_t, 3> odd_pulses_{};  // lost, missing, doubled
  Nanos judged_until_ = std::numeric_limits<Nanos>::max();
  Nanos seen_until_ = 0;
  bool ended_ = false;
  bool stopped_ = false;
  bool missing_ = false;  // something that the verdict would need
};

}  // namespace

RunOutcome judge_recording(const OpenRecording& recording, RunFolder& folder,
                           const std::function<std::optional<std::string>()>& stop, EvidenceLog* evidence) {
  return RecordingRun(recording, folder, stop, evidence).run();
}

}  // namespace tachproof
