// Judges a recording made elsewhere: the rpm comes from its tach channel, the
// lamps from the others. The same judge and the same run folder as a live run.
//
// Streams in constant memory, twice: the first pass finds how well the tach
// channel gives the rpm, which the judge needs first. What the recording does
// not show makes the run undecided: an end in the middle of a record, a wired
// channel whose level is unknown, a tach that never pulses, or an rpm that never
// comes near a boundary.
//
// Contact bounce in the tach is left out and reported
// (core/recording/contact_bounce.h); it excuses nothing. Pulses that are
// missing or came twice are mended and disturb what is around them only.
//
// With the scenario that was played, its profile is fitted to the recovered
// rpm. The lamps are then judged by the rpm that was played, without the
// recording's uncertainty, and by what the scenario asks. Without a scenario
// all is judged.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "bench/files/files.h"
#include "bench/formats/recording.h"
#include "bench/record/run_folder.h"
#include "bench/run/runner.h"
#include "core/gauge/gauge.h"
#include "core/recording/profile_fit.h"
#include "core/signal/profile.h"

namespace tachproof {

// What was played while it was recorded.
struct PlayedScenario {
  ScenarioFile scenario;
  Profile profile;
};
// Throws std::invalid_argument, a sentence, for one that has no profile of its own.
PlayedScenario played_scenario(ScenarioFile scenario);

// A recording that has been read once; nothing is judged yet.
struct OpenRecording {
  const Gauge& gauge;
  std::filesystem::path file;
  Wiring wiring;
  std::vector<ResolvedWire> wires;
  Nanos resolution = 1;
  Nanos end = 0;

  // What its tach channel says.
  std::uint64_t pulses = 0;
  double lowest_rpm = 0;
  double highest_rpm = 0;
  double rpm_uncertainty = 0;  // standard

  const PlayedScenario* played = nullptr;
  ProfilePlace place = {};                        // of its profile
  std::vector<Nanos> rare_bounces = {};           // where the contact bounces now and then only
  std::vector<std::pair<Nanos, Nanos>> odd = {};  // moments at which the rpm was not its

  Channels wired() const;
  // What the recording states of its time: its resolution, and how well the profile lies on it.
  BenchFacts bench() const;
  // Its rpm can be set against the gauge's boundaries at all. When not, the
  // tach channel or pulses_per_rev is wrong rather than the unit.
  bool comes_near_a_boundary() const;
};

// Throws RecordingError for a file that is no recording, lacks a channel or has
// a record that cannot be read, and FileErrors for a wiring that does not fit
// the gauge or has no tach; RecordingError as well where `played`, which must outlive
// what is returned, does not fit the recording.
OpenRecording open_for_judging(const std::filesystem::path& recording, const Wiring& wiring,
                               const Gauge& gauge, const PlayedScenario* played = nullptr);

// `stop` and `evidence` as in RunHooks.
RunOutcome judge_recording(const OpenRecording& recording, RunFolder& folder,
                           const std::function<std::optional<std::string>()>& stop = {},
                           EvidenceLog* evidence = nullptr);

}  // namespace tachproof
