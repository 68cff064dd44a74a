// The record of a run: all that its pages and its result.json say.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "bench/files/certificate.h"
#include "bench/record/checksums.h"
#include "bench/record/trace.h"
#include "core/cause/cause.h"
#include "core/gauge/gauge.h"
#include "core/judge/bench_facts.h"
#include "core/judge/expectation.h"
#include "core/judge/result.h"
#include "core/judge/timeline.h"

namespace tachproof {

// The purpose of a record that judges nothing against the settings: it says
// what was found.
inline constexpr const char* purpose_found = "found";

// What the reports need beside the core's RunResult.
struct RunRecord {
  RunResult result;
  std::string purpose;  // empty: the settings were judged; else purpose_found
  Gauge gauge;
  std::string gauge_name, gauge_sha256;
  std::string scenario_name, scenario_sha256;
  std::uint64_t seed = 0;
  std::string source, watch;  // kinds
  std::string source_description, watch_description;
  std::string unit_serial;  // may be empty
  std::string started;      // ISO 8601 with offset
  std::string tool_version;
  bool to_the_end = false;                                  // it was not to stop when it knew enough
  double extra_tolerance_rpm = 0;                           // granted for scripted noise
  std::vector<std::pair<std::string, std::string>> inputs;  // file name in the folder, sha256
  BenchFacts bench;
  std::optional<Certificate> certificate;
  Causes causes;  // of a fail; of an undecided run what is missing

  // Set by RunFolder::finish.
  std::string report_id;                // no two runs have the same
  std::string issued;                   // ISO 8601 with offset
  std::vector<FileSum> evidence_files;  // capture.vcd and timeline.csv
};

// What a drawing needs. Bounded: `thinned` says that the end was left out.
struct Trace {
  std::vector<RpmPoint> rpm;     // a polyline; two points at one instant: a step
  std::vector<LampEvent> lamps;  // raw, in the gauge's channels
  std::vector<Reach> reaches;
  bool thinned = false;
};

// Now, ISO 8601 with the offset from UTC.
std::string now_iso8601();

}  // namespace tachproof
