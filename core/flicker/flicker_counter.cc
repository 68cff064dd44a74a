#include "core/flicker/flicker_counter.h"

#include <algorithm>

namespace tachproof {

// Flicker moves to and fro faster than lamps settle, so nothing is joined that
// leads back to where it came from; see Settling.
FlickerCounter::FlickerCounter(const Gauge& gauge, Channels wired)
    : reading_(gauge, wired), settling_(gauge.tolerance.settle), wired_(wired) {}

void FlickerCounter::watch(std::size_t boundary, Nanos from) {
  boundary_ = boundary;
  from_ = from;
  window_ = std::clamp(window_, boundary - 1, boundary);
  cycles_ = changes_ = 0;
  first_.clear();
}

void FlickerCounter::lamps(std::span<const LampEvent> events) {
  std::vector<LampEvent> masked;
  for (const LampEvent& event : events) masked.push_back({event.at, event.lit & wired_});
  dimming_.add(masked, undimmed_);
  take();
}

void FlickerCounter::seen_until(Nanos until) {
  dimming_.seen_until(until, undimmed_);
  take();
  settling_.seen_until(std::min(until, dimming_.settled_until()), shown_);
  take();
}

void FlickerCounter::take() {
  for (const LampEvent& event : undimmed_) settling_.add(event, shown_);
  undimmed_.clear();
  for (const LampEvent& event : shown_) {
    any_ = true;
    const auto read = reading_.read(event.lit, boundary_ - 1, boundary_, window_, boundary_);
    if (!read.allowed || read.window == window_) continue;
    window_ = read.window;
    if (event.at < from_) continue;
    ++changes_;
    const bool up = window_ == boundary_;
    cycles_ += up ? 1 : 0;
    if (first_.size() < kept) first_.push_back({event.at, up});
  }
  shown_.clear();
}

bool FlickerCounter::is_blind(std::size_t boundary) const {
  return reading_.look_alike(boundary - 1, boundary) || reading_.alike_while_lit(boundary - 1, boundary);
}

}  // namespace tachproof
