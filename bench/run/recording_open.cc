// The first pass over a recording: what its tach channel says, before anything is judged.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <stdexcept>

#include "bench/formats/lamp_wires.h"
#include "bench/run/recorded_tach.h"
#include "bench/run/recording_run.h"
#include "core/judge/allowance.h"

namespace tachproof {

BenchFacts OpenRecording::bench() const {
  BenchFacts facts;
  facts.source.tick = facts.watcher.resolution = resolution;
  if (played != nullptr) {
    facts.watcher.stamp_offset = from_seconds(place.uncertainty_s);
    facts.source.clock_ppm = std::abs(place.stretch) * 1e6;  // either clock may be the wrong one
  }
  return facts;
}

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

PlayedScenario played_scenario(ScenarioFile scenario) {
  if (scenario.dwell)
    throw std::invalid_argument(fmt::format(
        "the scenario {} is a dwell, which has no fixed profile to judge a recording by", scenario.name));
  Profile profile(scenario.steps);
  return {std::move(scenario), std::move(profile)};
}

OpenRecording open_for_judging(const std::filesystem::path& recording, const Wiring& wiring,
                               const Gauge& gauge, const PlayedScenario* played) {
  if (wiring.tach.empty())
    throw FileErrors({{wiring.file, 0, 0, "there is no tach: channel; name the channel of the tach signal"}});
  OpenRecording opened{.gauge = gauge, .file = recording, .wiring = wiring, .wires = resolve(wiring, gauge)};
  LampWires wires(opened.wires, wiring);
  const std::unique_ptr<RecordingReader> reader = open_recording(recording, wires.wanted());
  opened.resolution = reader->resolution();
  RecordedTach tach(gauge, opened.resolution);
  std::optional<ProfileFit> fit;
  if (played) fit.emplace(played->profile, gauge.pulses_per_rev);
  double lowest = std::numeric_limits<double>::infinity();
  const auto take = [&](const std::vector<Nanos>& pulses) {
    opened.pulses += pulses.size();
    // Of more than these the rest is not forgiven.
    constexpr std::size_t most_bounces = 1'000'000;
    for (const Nanos at : tach.take_bounced())
      if (opened.rare_bounces.size() < most_bounces) opened.rare_bounces.push_back(at);
    const RpmTrack::Decided decided = tach.track().take();
    for (const Segment& segment : decided.segments) {
      lowest = std::min(lowest, segment.lowest_rpm());
      opened.highest_rpm = std::max(opened.highest_rpm, segment.highest_rpm());
      if (fit) fit->add(segment);
    }
    for (const SignalGap& gap : decided.gaps)
      if (fit && gap.kind == SignalGap::Kind::lost) fit->unknown(gap.from, gap.to);
  };
  std::array<ChannelChange, 4096> block;
  while (const std::size_t n = reader->next(block)) {
    wires.add({block.data(), n});
    wires.take_lamps();
    take(tach.add(wires.take_tach(), std::max<Nanos>(block[n - 1].at - 1, 0)));
  }
  wires.finish();
  opened.end = reader->end();
  take(tach.add(wires.take_tach(), opened.end));
  take(tach.finish(opened.end));
  if (opened.rare_bounces.size() * usual_from > opened.pulses) opened.rare_bounces.clear();
  opened.lowest_rpm = std::isfinite(lowest) ? lowest : 0;
  opened.rpm_uncertainty = tach.track().standard_uncertainty_rpm();
  if (!played) return opened;
  const ProfileFit::Found found =
      fit->find(opened.end, opened.rpm_uncertainty,
                noise_allowance_rpm(played->scenario.noise, gauge, played->profile.highest_rpm()));
  if (!found.place)
    throw RecordingError(fmt::format("{} does not go with the scenario {}: {}", recording.string(),
                                     played->scenario.name, found.why_not));
  opened.played = played;
  opened.place = *found.place;
  opened.odd = found.odd;
  return opened;
}

}  // namespace tachproof
