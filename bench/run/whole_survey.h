// A survey from its first pulse to its rows: with the settings as they are given, or
// finding out what an unknown unit does.
#pragma once

#include <functional>
#include <optional>
#include <string>

#include "bench/run/survey_run.h"
#include "core/plan/survey_scout.h"

namespace tachproof {

struct SurveyAsk {
  const Gauge& gauge;                  // the settings; of an unknown unit only lamps, tolerance and range
  double within_rpm = 1;               // the expanded uncertainty that is wanted
  bool unknown = false;                // the settings are not trusted
  std::optional<KnownBoundary> known;  // of an unknown unit: one boundary's rpm
  bool to_the_end = false;             // a unit that is not all there is measured as long as any other
  bool responses = false;              // every boundary's response is measured too
};

struct SurveyHooks : RunHooks {
  // As `progress`, with how many boundaries are known by now; 0 of 0 while they are looked for.
  std::function<void(const RunProgress&, std::size_t known, std::size_t of)> boundaries;
};

struct WholeSurvey {
  RunResult result;
  Trace trace;
  std::string scenario;               // YAML: what was played, so that it can be judged again
  std::optional<Gauge> found;         // of an unknown unit, where all of it was found
  std::optional<Gauge> found_as_set;  // the same as settings that may be written to a unit
};

WholeSurvey run_survey(const SurveyAsk& ask, Rig& rig, RunFolder& folder, const SurveyHooks& hooks);

}  // namespace tachproof
