// The first and the last change of lamps that a run must show: what a clip's
// time is set by when nothing better is in the picture.
#pragma once

#include <string>
#include <variant>

#include "core/base/time.h"
#include "core/gauge/gauge.h"
#include "core/signal/profile.h"

namespace tachproof {

struct RunEnd {
  Nanos earliest = 0, latest = 0;  // a conforming unit shows it in between
  Channels moves = 0;              // what differs: at least one of these changes
};

struct RunEnds {
  RunEnd first, last;
  Nanos duration = 0;
};

// `wired`: the channels that are watched. Else why there are none, a clause: the
// run's first or last change does not show, may or may not come, or may be a
// blink's.
std::variant<RunEnds, std::string> run_ends(const Gauge& gauge, const Profile& profile, Channels wired);

}  // namespace tachproof
