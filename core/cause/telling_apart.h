// A short scenario that tells causes apart which the evidence so far does not: it goes where
// units with those causes show different lamps, and nowhere else.
#pragma once

#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/signal/profile.h"

namespace tachproof {

// Steps with what they are for.
struct ToldStep {
  Step step;
  std::string why;  // a comment; may be empty
};

// `acts`: what the unit acts by with each cause. Empty: no rpm shows a difference.
std::vector<ToldStep> steps_that_tell_apart(const Gauge& set, const std::vector<Gauge>& acts);

}  // namespace tachproof
