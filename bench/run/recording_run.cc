#include "bench/run/recording_run.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <exception>
#include <limits>

#include <fmt/format.h>

#include "bench/formats/lamp_wires.h"
#include "bench/run/evidence_writer.h"
#include "core/judge.h"
#include "core/rpm_track.h"
#include "core/text.h"

namespace tachproof {

namespace {

constexpr Nanos disturbed_before = 10 * ns_per_ms;
constexpr Nanos longest_unsaid_silence = ns_per_s / 2;

RpmTrack::Setup track_setup(const Gauge& gauge, Nanos resolution) {
  RpmTrack::Setup setup;
  setup.pulses_per_rev = gauge.pulses_per_rev;
  setup.resolution = resolution;
  if (gauge.tolerance.rpm > 0) setup.tolerance_rpm = gauge.tolerance.rpm;
  return setup;
}

class RecordingRun {
 public:
  RecordingRun(const OpenRecording& recording, RunFolder& folder,
               const std::function<std::optional<std::string>()>& stop)
      : recording_(recording),
        gauge_(recording.gauge),
        stop_(stop),
        wires_(recording.wires, recording.wiring),
        reader_(open_recording(recording.file, wires_.wanted())),
        track_(track_setup(gauge_, recording.resolution)),
        judge_(gauge_, judge_setup()),
        writer_(folder, gauge_) {
    judge_.on_reach([this](const Reach& reach) { writer_.reach(reach); });
    if (!recording.comes_near_a_boundary()) judge_.disturbed(0, recording.end);  // nothing to judge by
  }

  RunOutcome run() {
    bool whole = guarded([this] { read_all(); });
    if (whole) look_for_gaps();
    whole = guarded([this] { writer_.close(seen_until_); }) && whole;
    const bool complete = whole && !missing_;
    return {judge_.finish(seen_until_, complete), writer_.trace()};
  }

 private:
  JudgeSetup judge_setup() const {
    JudgeSetup setup;
    setup.before = ExpectationOptions::Before::unknown;
    setup.wired = recording_.wired();
    setup.source_tick = recording_.resolution;
    setup.watcher_resolution = recording_.resolution;
    setup.rpm_uncertainty = recording_.rpm_uncertainty;
    return setup;
  }

  void found(FindingKind kind, Nanos at, std::string message) {
    judge_.found({kind, at, "", "", std::move(message)});
    missing_ = true;
  }

  template <class Step>
  bool guarded(Step step) {
    try {
      step();
      return !stopped_;
    } catch (const RecordingError& e) {
      found(FindingKind::lost_evidence, seen_until_, e.what());
    } catch (const std::exception& e) {
      found(FindingKind::bench_fault, seen_until_, e.what());
    }
    return false;
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
    const std::vector<Nanos> edges = wires_.take_tach();
    judge_.pulses(edges.size());
    writer_.pulses(edges, until);
    for (const Nanos edge : edges) track_.edge(edge);
    if (ended_) track_.finish(until);
    const RpmTrack::Decided decided = track_.take();
    for (const SignalGap& gap : decided.gaps) take(gap);
    for (const Segment& segment : decided.segments) {
      judge_.rpm(segment);
      writer_.rpm(segment);
    }
    const std::vector<LampEvent> lamps = wires_.take_lamps();
    judge_.lamps(lamps);
    judge_.seen_until(until);
    writer_.advance(lamps, until);
    seen_until_ = until;
  }

  void take(const SignalGap& gap) {
    judge_.disturbed(gap.from - disturbed_before, gap.to + disturbance_lasts(gauge_, track_.rpm_at(gap.to)));
    if (gap.kind == SignalGap::Kind::lost && gap.to - gap.from > longest_unsaid_silence)
      found(FindingKind::no_signal, gap.from,
            fmt::format("the tach channel {} has no pulse from {} to {}, so the lamps were not judged then",
                        recording_.wiring.tach, say_time(gap.from), say_time(gap.to)));
  }

  void look_for_gaps() {
    if (reader_->truncated()) found(FindingKind::lost_evidence, seen_until_, reader_->trouble());
    for (const UnknownLevel& unknown : wires_.unknown())
      found(FindingKind::lost_evidence, unknown.first,
            fmt::format("channel {} was neither high nor low {}, first at {}", unknown.channel,
                        unknown.times == 1 ? "once" : fmt::format("{} times", unknown.times),
                        say_time(unknown.first)));
    if (recording_.pulses < 2)
      found(FindingKind::no_signal, 0,
            fmt::format("the tach channel {} has {} in {}, so there is no rpm to judge by",
                        recording_.wiring.tach, recording_.pulses == 0 ? "no pulse" : "one pulse",
                        say_time(seen_until_)));
    else if (!recording_.comes_near_a_boundary())
      found(FindingKind::no_signal, 0,
            fmt::format("the tach channel {} reads {:.0f} to {:.0f} rpm at {} pulses per revolution, which "
                        "reaches no boundary of the gauge, so nothing could be judged",
                        recording_.wiring.tach, recording_.lowest_rpm, recording_.highest_rpm,
                        gauge_.pulses_per_rev));
  }

  const OpenRecording& recording_;
  const Gauge& gauge_;
  const std::function<std::optional<std::string>()>& stop_;
  LampWires wires_;
  std::unique_ptr<RecordingReader> reader_;
  RpmTrack track_;
  Judge judge_;
  EvidenceWriter writer_;

  Nanos seen_until_ = 0;
  bool ended_ = false;
  bool stopped_ = false;
  bool missing_ = false;  // something that the verdict would need
};

}  // namespace

Channels OpenRecording::wired() const {
  Channels all = 0;
  for (const ResolvedWire& wire : wires) all |= wire.lights;
  return all;
}

bool OpenRecording::comes_near_a_boundary() const {
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b)
    if (highest_rpm >= gauge.falling_rpm(b) && lowest_rpm < gauge.rising_rpm(b)) return true;
  return false;
}

OpenRecording open_for_judging(const std::filesystem::path& recording, const Wiring& wiring,
                               const Gauge& gauge) {
  if (wiring.tach.empty())
    throw FileErrors({{wiring.file, 0, 0, "there is no tach: channel; a recording is judged by one"}});
  OpenRecording opened{gauge, recording, wiring, resolve(wiring, gauge), 1, 0, 0, 0, 0, 0};
  LampWires wires(opened.wires, wiring);
  const std::unique_ptr<RecordingReader> reader = open_recording(recording, wires.wanted());
  opened.resolution = reader->resolution();
  RpmTrack track(track_setup(gauge, opened.resolution));
  double lowest = std::numeric_limits<double>::infinity();
  const auto take = [&] {
    for (const Segment& segment : track.take().segments) {
      lowest = std::min(lowest, segment.lowest_rpm());
      opened.highest_rpm = std::max(opened.highest_rpm, segment.highest_rpm());
    }
  };
  const auto add_edges = [&] {
    wires.take_lamps();
    for (const Nanos edge : wires.take_tach()) {
      ++opened.pulses;
      track.edge(edge);
    }
    take();
  };
  std::array<ChannelChange, 4096> block;
  while (const std::size_t n = reader->next(block)) {
    wires.add({block.data(), n});
    add_edges();
  }
  wires.finish();
  add_edges();
  opened.end = reader->end();
  track.finish(opened.end);
  take();
  opened.lowest_rpm = std::isfinite(lowest) ? lowest : 0;
  opened.rpm_uncertainty = track.standard_uncertainty_rpm();
  return opened;
}

RunOutcome judge_recording(const OpenRecording& recording, RunFolder& folder,
                           const std::function<std::optional<std::string>()>& stop) {
  return RecordingRun(recording, folder, stop).run();
}

}  // namespace tachproof
