// Which of two causes that explain everything is the likelier: how well each fits the measured numbers, as
// chi squared, and what must be paid for what it leaves free.
//
// A cause that forbids little proves little (the shortest description is the best one: J. Rissanen, "Modeling
// by shortest data description", Automatica 14, 1978, from memory). So each pays for
//   - its sizes, more where the run hardly knows them;
//   - the lamps and moments that it takes out of the evidence (Trial::unsaid): -10 ln of the share that is
//   left;
//   - the rpm that a noisy reading lets thresholds be off by: 2 ln(1 + width in tolerances);
//   - each window in which a unit that skips updates may have stayed too long: as much as for a size.
// The weights are experience, no published source: they order the causes of tests/study/DIAGNOSIS.md.
#pragma once

#include "core/cause/hypothesis.h"

namespace tachproof {

// In chi squared; the less the likelier.
double unlikeliness(const Trial& trial, const Tolerance& tolerance);

}  // namespace tachproof
