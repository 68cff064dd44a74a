#include "core/camera/change_dating.h"

#include <algorithm>

#include "core/camera/lamp_colour.h"

namespace tachproof {
namespace {

// What noise, a codec and a neighbour's glow make of a lamp's light, as a share of it.
constexpr double unsure = 0.12;
// Below this a frame that shows a lit lamp was exposed in part before it came on: a ripple
// of what is lit explains no more than steady_ripple.
constexpr double in_part = 1 - steady_ripple - unsure;
constexpr double some_light = 0.30;  // not a neighbour's glow

Nanos part(double share, Nanos exposure) { return static_cast<Nanos>(share * static_cast<double>(exposure)); }

}  // namespace

DatedSpan date_change(bool comes_on, std::span<const LampSight> sights, double full, double open,
                      const ExposureBounds& exposure, const DatedSpan& widest) {
  if (!(full > 0)) return widest;
  // Going off is coming on with time run backwards.
  const Nanos sign = comes_on ? 1 : -1;
  Nanos after = comes_on ? widest.after : -widest.before, before = comes_on ? widest.before : -widest.after;
  for (const LampSight& sight : sights) {
    const Nanos at = sign * sight.at;
    const double light = sight.light / full;
    // The change came this share of the exposure after its middle, or less; or more.
    const double earliest = 0.5 - std::min(1.0, light + unsure);
    const double latest = open > 0 ? 0.5 - std::clamp(1 - (1 - light + unsure) / open, 0.0, 1.0) : 0.5;
    const bool lit_in_part = !sight.is_dark && light < in_part;
    if (sight.is_dark || lit_in_part)
      after = std::max(after, at + std::min(part(earliest, exposure.from), part(earliest, exposure.to)));
    if (sight.is_lit && light > some_light)
      before = std::min(before, at + std::max(part(latest, exposure.from), part(latest, exposure.to)));
  }
  if (after > before) return widest;
  return comes_on ? DatedSpan{after, before} : DatedSpan{-before, -after};
}

}  // namespace tachproof
