#include "core/camera/sync_clock.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace tachproof {
namespace {

Nanos drift_over(Nanos span) {
  return static_cast<Nanos>(std::ceil(SyncClock::most_drift * std::abs(static_cast<double>(span))));
}

}  // namespace

void SyncClock::flashed(Nanos run_from, Nanos run_to) {
  played_.push_back({run_from, true});
  played_.push_back({run_to, false});
  match();
}

void SyncClock::seen(Nanos after, Nanos before, bool comes_on) {
  unmatched_.push_back({after, before, comes_on});
  ++seen_;
  match();
}

void SyncClock::match() {
  std::size_t taken = 0;
  for (; taken < unmatched_.size() && bounds_.size() < played_.size(); ++taken) {
    const Seen& edge = unmatched_[taken];
    const Played& played = played_[bounds_.size()];
    if (edge.on != played.on) consistent_ = false;
    bounds_.push_back(
        {edge.before, played.at - edge.before, played.at - edge.after, played.at, edge.on == played.on});
    const std::optional<Offset> offset = offset_at(edge.before);
    if (!offset || offset->lowest > offset->highest) consistent_ = false;
  }
  unmatched_.erase(unmatched_.begin(), unmatched_.begin() + static_cast<std::ptrdiff_t>(taken));
}

std::optional<SyncClock::Offset> SyncClock::offset_at(Nanos camera) const {
  if (bounds_.empty()) return std::nullopt;
  Offset offset{std::numeric_limits<Nanos>::min(), std::numeric_limits<Nanos>::max()};
  for (const Bound& bound : bounds_) {
    const Nanos drift = drift_over(camera - bound.camera);
    offset.lowest = std::max(offset.lowest, bound.lowest - drift);
    offset.highest = std::min(offset.highest, bound.highest + drift);
  }
  return offset;
}

// Every pair of edges bounds the rate; what all pairs leave explains them all.
std::optional<double> SyncClock::rate() const {
  constexpr std::size_t least_edges = 4;
  if (bounds_.size() < least_edges) return std::nullopt;
  double lowest = 0, highest = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < bounds_.size(); ++i) {
    if (!bounds_[i].alike) return std::nullopt;
    const auto after = [&](const Bound& b) { return static_cast<double>(b.run - b.highest); };
    const auto before = [&](const Bound& b) { return static_cast<double>(b.run - b.lowest); };
    for (std::size_t j = i + 1; j < bounds_.size(); ++j) {
      const auto played = static_cast<double>(bounds_[j].run - bounds_[i].run);
      if (played <= 0) continue;
      lowest = std::max(lowest, (after(bounds_[j]) - before(bounds_[i])) / played);
      highest = std::min(highest, (before(bounds_[j]) - after(bounds_[i])) / played);
    }
  }
  if (lowest > highest) return std::nullopt;
  return (lowest + highest) / 2;
}

std::optional<Nanos> SyncClock::awaited() const {
  if (bounds_.size() >= played_.size()) return std::nullopt;
  return played_[bounds_.size()].at;
}

}  // namespace tachproof
