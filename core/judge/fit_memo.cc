#include "core/judge/fit_memo.h"

#include <bit>

namespace tachproof {
namespace {

// A hint where to look: what is found there is compared as a whole.
std::uint64_t mark_of(const std::vector<Visit>& visits) {
  std::uint64_t mark = visits.size();
  const auto add = [&](std::uint64_t more) { mark = (mark ^ more) * 0x9e3779b97f4a7c15 + (mark >> 29); };
  for (const Visit& visit : visits) {
    add(2 * visit.boundary + (visit.direction == Direction::falling ? 1 : 0));
    add(std::bit_cast<std::uint64_t>(visit.rpm_before.front()));
    add(std::bit_cast<std::uint64_t>(visit.rpm_before.back()));
  }
  return mark;
}

}  // namespace

const ThresholdFits& FitMemo::fits(const std::vector<Visit>& visits, std::size_t boundaries,
                                   const FitSetup& setup) {
  const std::uint64_t mark = mark_of(visits);
  const auto [first, last] = known_.equal_range(mark);
  for (auto known = first; known != last; ++known)
    if (known->second.boundaries == boundaries && known->second.setup == setup &&
        known->second.visits == visits)
      return known->second.fits;
  if (known_.size() >= most_kept) known_.clear();
  ++made_;
  return known_.emplace(mark, Known{visits, boundaries, setup, fit_thresholds(visits, boundaries, setup)})
      ->second.fits;
}

}  // namespace tachproof
