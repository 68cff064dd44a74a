// A unit that skips updates: it reads its signal only now and then, and between two readings it stays in
// the window that the last one put it in. So its lamps may be late by any time, but each of their changes
// is to a window that the rpm of that moment allows: lamps that are early, or go through windows that the
// rpm has left behind, are not explained by it.
//
// When it read is told by its lamps: of all ways to read seldom, the one that leaves them wrong for least
// (the shortest path through windows and time; R. Bellman, "Dynamic Programming", 1957, from memory).
#pragma once

#include <cstddef>
#include <memory>
#include <vector>

#include "core/cause/road.h"
#include "core/gauge/gauge.h"
#include "core/signal/profile.h"

namespace tachproof {

struct SeldomRead {
  std::shared_ptr<const std::vector<Segment>> believed;  // the rpm that it then believes
  double wrong_s = 0;                                    // lamps that are wrong all the same
  std::size_t gaps = 0;                                  // windows that stayed though another was due
  double behind_s = 0;                                   // and how long those are together
};

// `road`: of one run, with the middle of the responses that are allowed; `played`: its rpm. Nothing is
// believed (null) of a unit whose buttons were pressed, and of an empty run.
SeldomRead seldom_read(const Road& road, const Gauge& gauge, const std::vector<Segment>& played);

}  // namespace tachproof
