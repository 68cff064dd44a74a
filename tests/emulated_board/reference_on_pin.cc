#include "tests/emulated_board/reference_on_pin.h"

#include <cmath>

namespace tachproof {

ReferenceOnPin::ReferenceOnPin(unsigned input, double hz, double board_fast_ppm, std::uint64_t missing)
    : high_(static_cast<std::uint8_t>(1u << input)),
      period_cycles_(static_cast<double>(board_hz) / hz * (1 + board_fast_ppm * 1e-6)),
      missing_(missing) {}

Cycles ReferenceOnPin::at(double periods) const {
  return static_cast<Cycles>(std::llround(periods * period_cycles_));
}

void ReferenceOnPin::run(std::span<const Nanos>, Nanos until, std::vector<PinLevels>& out) {
  for (;;) {
    const double periods = static_cast<double>(pulse_) + 0.5 + (risen_ ? 0.1 : 0);
    if (nanos_of(at(periods)) > until) return;
    if (pulse_ != missing_) out.push_back({at(periods), risen_ ? std::uint8_t{0} : high_});
    if (risen_) ++pulse_;
    risen_ = !risen_;
  }
}

}  // namespace tachproof
