#include "core/judge/blink_boundary.h"

#include <algorithm>
#include <bit>

namespace tachproof {
namespace {

// Channels that blink in window a and are steadily lit, or dark, in window b.
Channels blinks_only_in(const WindowReading& reading, std::size_t a, std::size_t b) {
  return reading.blinking(a) & ~reading.blinking(b);
}

}  // namespace

bool BlinkBoundary::is_one(const WindowReading& reading, std::size_t boundary) {
  return !reading.look_alike(boundary - 1, boundary) && reading.alike_while_lit(boundary - 1, boundary);
}

BlinkBoundary::BlinkBoundary(const Gauge& gauge, const WindowReading& reading, std::size_t boundary,
                             Nanos slack)
    : reading_(reading) {
  below_.window = boundary - 1;
  above_.window = boundary;
  const double slowest_hz = std::max(gauge.blink->hz - gauge.tolerance.blink_hz, 0.05);
  const double duty = gauge.tolerance.blink_duty;
  for (auto [side, other] : {std::pair{&below_, &above_}, std::pair{&above_, &below_}}) {
    double longest = 0;
    for (Channels left = blinks_only_in(reading, side->window, other->window); left != 0; left &= left - 1) {
      const Channels bit = left & -left;
      const bool lit = reading.steady(other->window) & bit;
      const double share = std::min(1.0, (lit ? gauge.blink->duty : 1 - gauge.blink->duty) + duty);
      // Every lamp that differs must show it: the shortest of them is enough.
      longest = side->blinks ? std::min(longest, share / slowest_hz) : share / slowest_hz;
      side->blinks = true;
    }
    side->longest = from_seconds(longest) + slack;
  }
}

void BlinkBoundary::span(Nanos from, Nanos to, Channels lit, bool inside, bool still, const Sight& sight) {
  const bool may_be_below = inside && reading_.shows(below_.window, lit);
  const bool may_be_above = inside && reading_.shows(above_.window, lit);
  const Picture now = may_be_below && may_be_above ? Picture::both
                      : may_be_below               ? Picture::below
                      : may_be_above               ? Picture::above
                                                   : Picture::none;
  if (now == Picture::both) {
    if (picture_ != Picture::both) {
      alike_since_ = from;
      for (Side* side : {&below_, &above_}) side->next = from + side->longest;
    }
    if (above_.blinks) alike(above_, false, to, still, sight);
    if (below_.blinks) alike(below_, true, to, still, sight);
  } else if (now != Picture::none) {
    // The stretch that ends here may prove that the other side was shown just before.
    if (picture_ == Picture::both)
      for (const Side* side : {&below_, &above_})
        if (side->blinks && from - alike_since_ > side->longest)
          sight(side == &below_, from - side->longest, from);
    sight(now == Picture::above, from, from);
    if (to > from) sight(now == Picture::above, to, to);
  }
  picture_ = now;
}

// While the lamps look like both sides, a side whose blink would have shown by now was left.
void BlinkBoundary::alike(Side& side, bool other_is_above, Nanos to, bool still, const Sight& sight) {
  while (side.next <= to) {
    sight(other_is_above, side.next - side.longest, side.next);
    const Nanos more = still ? (to - side.next) / side.longest : 0;
    side.next += std::max<Nanos>(more, 1) * side.longest;
  }
}

}  // namespace tachproof
