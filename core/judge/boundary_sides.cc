#include "core/judge/boundary_sides.h"

#include <algorithm>

namespace tachproof {

BoundarySides::BoundarySides(const Gauge& gauge, const WindowReading& reading, Nanos slack, Nanos slowest)
    : reading_(reading),
      response_to_(gauge.tolerance.response_to),
      bounds_(gauge.windows.size(), ThresholdBounds(slowest)) {
  if (!gauge.blink) return;
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b)
    if (BlinkBoundary::is_one(reading, b))
      by_blinks_.emplace_back(b, BlinkBoundary(gauge, reading, b, slack));
}

void BoundarySides::span(const Span& s, const RpmHistory& history) {
  if (by_blinks_.empty()) return;
  const bool still = history.still_between(s.from - response_to_, s.to);
  for (auto& [b, boundary] : by_blinks_) {
    const bool inside = !s.disturbed && s.lowest + 1 >= b && s.highest <= b;
    if (!inside) bounds_[b].lost();
    boundary.span(s.from, s.to, s.lit, inside, still, [&, at = b](bool above, Nanos first, Nanos last) {
      bounds_[at].seen(above, first, last, history);
    });
  }
}

void BoundarySides::changed(std::size_t from_window, std::size_t to_window, Nanos at, bool disturbed,
                            const RpmHistory& history) {
  clear_changes_.push_back(at);
  const auto [low, high] = std::minmax(from_window, to_window);
  for (std::size_t b = low + 1; b <= high; ++b) {
    if (reading_.look_alike(b - 1, b) || BlinkBoundary::is_one(reading_, b)) continue;
    bounds_[b].lost();
    if (disturbed) continue;
    bounds_[b].seen(to_window < from_window, at, at, history);
    bounds_[b].seen(to_window > from_window, at, at, history);
  }
}

bool BoundarySides::saw_clearly(Nanos at) const {
  return std::binary_search(clear_changes_.begin(), clear_changes_.end(), at);
}

std::optional<Nanos> BoundarySides::longest_phase(std::size_t boundary) const {
  for (const auto& [b, one] : by_blinks_)
    if (b == boundary) return one.longest_phase();
  return std::nullopt;
}

void BoundarySides::forget_before(Nanos t) {
  while (!clear_changes_.empty() && clear_changes_.front() < t) clear_changes_.pop_front();
}

}  // namespace tachproof
