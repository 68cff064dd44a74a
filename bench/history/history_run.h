// A run as the history has it.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "core/judge/result.h"

namespace tachproof {

struct HistoryBoundary {
  std::string boundary;
  Direction direction = Direction::rising;
  double nominal_rpm = not_measured;
  double threshold_rpm = not_measured;
  double expanded_uncertainty_rpm = not_measured;
  double response_ms = not_measured;
  Verdict verdict = Verdict::undecided;
};

// Somebody declared a run the reference for its unit, or for its gauge where
// the unit has no serial number.
struct Acceptance {
  std::string at;  // ISO 8601 with offset
  std::string who, why;
  std::int64_t order = 0;  // of all acceptances of a history: a later one has a greater number
};

// What explains a failed run, most likely first. Several of one run: its evidence does not tell them apart.
struct HistoryCause {
  std::string text;  // a sentence without its full stop
  std::uint64_t explains = 0, of = 0;
};

struct HistoryRun {
  std::int64_t id = 0;
  std::string report_id;
  std::string folder;          // absolute, where it was when it was added
  std::string started;         // ISO 8601 with offset
  std::int64_t started_s = 0;  // the same, seconds since 1970-01-01 UTC
  std::string unit_serial, gauge, scenario, source, tested_by, tool_version;
  std::string gauge_sha256;  // of the gauge file
  Verdict verdict = Verdict::undecided;
  bool complete = false;
  bool simulated = false;  // the unit was the built-in one: nothing of a real one
  double duration_s = 0;
  double tolerance_rpm = not_measured;
  std::vector<HistoryBoundary> boundaries;  // in the order of the result
  std::vector<Acceptance> accepted;         // oldest first
  std::vector<HistoryCause> causes;
};

// The run that was accepted last.
struct ReferenceRun {
  std::string folder;         // where it was
  std::string result_sha256;  // of its result.json, lower-case hex
  Acceptance acceptance;
};

// Empty: any. `since` is a date, YYYY-MM-DD, by the bench's own calendar.
struct HistoryFilter {
  std::string unit, gauge, scenario, since;
};

}  // namespace tachproof
