// Threshold fits of one evidence that is judged many times: the same visits have the same fit, to the last
// bit.
//
// Hypotheses about lamps and cues leave most thresholds' visits as they were; a fit costs more than the rest
// of judging them.
#pragma once

#include <cstddef>
#include <cstdint>
#include <map>
#include <vector>

#include "core/judge/thresholds.h"

namespace tachproof {

class FitMemo {
 public:
  // As fit_thresholds, which makes what is not known yet. The answer lives until the next call.
  const ThresholdFits& fits(const std::vector<Visit>& visits, std::size_t boundaries, const FitSetup& setup);
  std::size_t made() const { return made_; }

 private:
  static constexpr std::size_t most_kept = 300;  // some ten megabytes

  struct Known {
    std::vector<Visit> visits;
    std::size_t boundaries = 0;
    FitSetup setup;
    ThresholdFits fits;
  };
  std::multimap<std::uint64_t, Known> known_;
  std::size_t made_ = 0;
};

}  // namespace tachproof
