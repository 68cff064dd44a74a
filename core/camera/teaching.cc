#include "core/camera/teaching.h"

#include <algorithm>

namespace tachproof {
namespace {

constexpr Nanos look = ns_per_s;  // at every window, once it must be shown
constexpr double blinks = 3;      // seen in a window that has them
// Of different lengths, so that they cannot be taken for one another.
constexpr Nanos first_flash = 300 * ns_per_ms, last_flash = 500 * ns_per_ms;

}  // namespace

std::vector<Step> teaching_steps(const Gauge& gauge, const std::string& sync) {
  std::vector<Step> steps{Hold{0, look}};
  if (!sync.empty()) steps.push_back(Press{sync, first_flash});
  for (std::size_t w = 0; w < gauge.windows.size(); ++w) {
    const double from = w == 0 ? 0 : gauge.rising_rpm(w);
    const double to = w + 1 < gauge.windows.size() ? gauge.falling_rpm(w + 1) : from + 200;
    const double blinking = gauge.windows[w].cue.blinking != 0 ? blinks / gauge.blink->hz : 0;
    steps.push_back(
        Hold{(from + to) / 2, gauge.tolerance.response_to + std::max(look, from_seconds(blinking))});
  }
  steps.push_back(Hold{0, gauge.tolerance.signal_lost + gauge.tolerance.response_to + look});
  if (!sync.empty()) {
    steps.push_back(Press{sync, last_flash});
    steps.push_back(Hold{0, look});
  }
  return steps;
}

}  // namespace tachproof
