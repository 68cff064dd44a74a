// How far a unit may have a boundary from where a press put it, beyond the tolerance: what nobody knows of
// the rpm that it took.
#pragma once

#include <algorithm>
#include <string>

#include "core/gauge/gauge.h"
#include "core/judge/result.h"

namespace tachproof {

// rpm; 0 for a boundary that no press has moved.
inline double doubt_rpm(const Gauge& gauge, const RunResult& result, const std::string& boundary,
                        const std::string& state) {
  const auto anchor_of = [&](const std::string& name) {
    for (const Window& window : gauge.windows)
      if (window.name == name) return window.anchor;
    return std::string();
  };
  const std::string anchor = anchor_of(boundary);
  double doubt = 0;
  if (state.empty() || anchor.empty()) return doubt;
  for (const StateResult& one : result.states)
    if (one.state == state)
      for (const StateResult::Taken& taken : one.taken)
        if (anchor_of(taken.boundary) == anchor) doubt = std::max(doubt, taken.doubt_rpm);
  return doubt;
}

}  // namespace tachproof
