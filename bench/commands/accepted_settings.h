// The settings that a unit had when its accepted run was made: a candidate for what is wrong with it now.
#pragma once

#include <optional>
#include <string>

#include "bench/history/history_place.h"
#include "bench/record/record.h"
#include "bench/run/find_causes.h"

namespace tachproof {

struct AcceptedGauge {
  std::optional<CandidateFile> gauge;
  std::string gone;  // why an accepted run that there is gives none, a sentence; else empty
};
// Of the unit of this run, by its serial number. A unit in software and a real one are two, whatever they
// are called. No history, or none that can be read: nothing.
AcceptedGauge accepted_settings(const HistoryPlace& history, const RunRecord& of);

}  // namespace tachproof
