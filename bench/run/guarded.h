// Steps of which no exception may come out: it becomes a finding.
#pragma once

#include <exception>
#include <utility>

#include "bench/formats/recording.h"
#include "core/judge/result.h"

namespace tachproof {

// True: `step` came to its end. False: it threw, and `found(kind, why)` was called instead. Of a recording
// that cannot be read on the rest is lost evidence; anything else is the bench's own fault.
template <class Step, class Found>
bool guarded(Step step, Found found) {
  try {
    step();
    return true;
  } catch (const RecordingError& e) {
    found(FindingKind::lost_evidence, e.what());
  } catch (const std::exception& e) {
    found(FindingKind::bench_fault, e.what());
  }
  return false;
}

}  // namespace tachproof
