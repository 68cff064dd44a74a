// How often a unit renews its lamps, found in one run.
//
// A unit that renews its lamps by a clock of its own changes them at the ticks of
// that clock only: all instants at which lamps changed are whole periods apart,
// though the train asked for changes at any instants. The period is searched for
// where the instants, as angles of a turn a period, point the same way (the
// resultant of directional data; K. V. Mardia, P. E. Jupp, "Directional Statistics",
// 2.3, from memory), then fitted by least squares.
#pragma once

#include <optional>
#include <vector>

#include "core/judge/result.h"

namespace tachproof {

struct SeenChange {
  double nominal_s = 0;  // when the train asked for it, exact threshold and fastest response
  double at_s = 0;       // when it was seen
};

// Seconds, 8 ms to 0.5 s; the longest that fits. Nothing where the lamps keep to no
// period, or where it cannot be seen: too few changes, or a train that asks for all of
// them whole periods apart, so that any unit would look so.
std::optional<double> update_period_s(std::vector<SeenChange> changes);
std::optional<double> update_period_s(const RunResult& result);

}  // namespace tachproof
