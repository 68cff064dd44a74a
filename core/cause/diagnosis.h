// From a failed run to its causes: consistency-based diagnosis.
//
// A cause is the smallest change of settings, unit or wiring with which the evidence is what it
// should be (R. Reiter, "A theory of diagnosis from first principles", 1987; J. de Kleer, B. C. Williams,
// "Diagnosing multiple faults", 1987; both Artificial Intelligence 32, from memory). Candidates
// come from the numbers and pictures of the run and from other gauge files; each is put into the
// gauge and the stored evidence is judged again against that. It counts by the findings that are gone.
//
// One change is tried before two. Of those that leave nothing, the likeliest is the one that
// fits the measured numbers best, then the simplest.
#pragma once

#include <string>
#include <vector>

#include "core/cause/cause.h"
#include "core/cause/hypothesis.h"
#include "core/cause/other_gauges.h"

namespace tachproof {

struct Diagnosis {
  Causes causes;
  std::vector<Hypothesis> hypotheses;  // of causes.list, one for each
  std::size_t judged = 0;              // how often the evidence was judged again
};

// Of runs of one unit that should run `gauge`; they count together. A run that passes has no cause;
// where none fails, and one is undecided, the result says what is missing.
Diagnosis diagnose(const Gauge& gauge, const std::vector<JudgedRun>& runs,
                   const std::vector<OtherGauge>& others = {});

// Of gauges that lie about: those that tell so much of these runs that they are kept with them. A run is
// diagnosed with what is kept, so that it can be again, wherever the rest has gone.
std::vector<std::size_t> telling_gauges(const Gauge& gauge, const std::vector<JudgedRun>& runs,
                                        const std::vector<OtherGauge>& others);

}  // namespace tachproof
