#include "core/judge/peaks.h"

#include <algorithm>

namespace tachproof {

void Peaks::rpm(const Segment& segment) {
  const Stretch next{segment.start.whole, segment.start.whole + from_seconds(segment.lasts_s),
                     segment.lowest_rpm(), segment.highest_rpm()};
  const Nanos settled = clearings_.empty() ? 0 : clearings_.back().to;
  if (!stretches_.empty() && stretches_.back().from >= settled && stretches_.back().highest >= next.highest)
    return;
  stretches_.push_back(next);
}

void Peaks::cleared(Nanos at, double rpm) { clearings_.push_back({at, at, rpm, true}); }

void Peaks::lost(Nanos from, Nanos to, bool surely) { clearings_.push_back({from, to, 0, surely}); }

void Peaks::lost_by(Nanos to) {
  const auto open = std::find_if(clearings_.rbegin(), clearings_.rend(),
                                 [](const Clearing& clearing) { return clearing.to == never; });
  if (open != clearings_.rend()) open->to = to;
}

PeakSpan Peaks::since(const Clearing& clearing, Nanos t) const {
  PeakSpan span{clearing.rpm, clearing.rpm};
  for (const Stretch& stretch : stretches_) {
    if (stretch.from >= t) break;
    if (stretch.to <= clearing.from) continue;
    span.highest = std::max(span.highest, stretch.highest);
    if (stretch.to > clearing.to)
      span.lowest = std::max(span.lowest, stretch.from >= clearing.to ? stretch.highest : stretch.lowest);
  }
  return span;
}

std::vector<PeakSpan> Peaks::at(Nanos t) const {
  std::vector<PeakSpan> all;
  auto clearing = clearings_.rbegin();
  for (; clearing != clearings_.rend(); ++clearing) {
    if (clearing->from >= t) continue;
    all.push_back(since(*clearing, t));
    if (clearing->surely) break;
  }
  if (clearing == clearings_.rend()) all.push_back(since({}, t));
  std::reverse(all.begin(), all.end());
  return all;
}

}  // namespace tachproof
