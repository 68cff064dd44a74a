// Judges a recording made elsewhere: the rpm comes from its tach channel, the
// lamps from the others. The same judge and the same run folder as a live run.
//
// Streams in constant memory, twice: the tach channel alone tells how well the
// rpm can be known, and the judge wants that first. What the recording does not show makes the run
// undecided: an end in the middle of a record, a wired channel whose level is
// unknown, a tach that never pulses, or an rpm that never comes near a boundary.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "bench/formats/recording.h"
#include "bench/run/run_folder.h"
#include "bench/run/runner.h"
#include "core/gauge.h"

namespace tachproof {

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

  Channels wired() const;
  // Its rpm can be set against the gauge's boundaries at all. When not, the
  // tach channel or pulses_per_rev is wrong rather than the unit.
  bool comes_near_a_boundary() const;
};

// Throws RecordingError for a file that is no recording, lacks a channel or has
// a record that cannot be read, and FileErrors for a wiring that does not fit
// the gauge or has no tach.
OpenRecording open_for_judging(const std::filesystem::path& recording, const Wiring& wiring,
                               const Gauge& gauge);

// `stop` as in RunHooks.
RunOutcome judge_recording(const OpenRecording& recording, RunFolder& folder,
                           const std::function<std::optional<std::string>()>& stop = {});

}  // namespace tachproof
