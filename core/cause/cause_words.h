// Causes in words: what a person reads, and what to do next.
#pragma once

#include "core/cause/cause.h"
#include "core/cause/hypothesis.h"

namespace tachproof {

// `set`: the gauge as set. `of`: findings in all.
Cause cause_of(const Gauge& set, const Trial& trial, std::uint64_t of);

}  // namespace tachproof
