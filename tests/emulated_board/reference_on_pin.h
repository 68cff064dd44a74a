// A known frequency on one of the emulated board's inputs.
#pragma once

#include <cstdint>

#include "tests/emulated_board/emulated_board.h"

namespace tachproof {

// High for the first tenth of each period.
class ReferenceOnPin : public WiredUnit {
 public:
  // `board_fast_ppm`: how fast the board's clock is by this reference.
  // `missing`: the pulse that does not come, from 0.
  ReferenceOnPin(unsigned input, double hz, double board_fast_ppm, std::uint64_t missing = ~std::uint64_t{0});

  void run(std::span<const Nanos> pulses, Nanos until, std::vector<PinLevels>& out) override;

 private:
  Cycles at(double periods) const;

  std::uint8_t high_;
  double period_cycles_;
  std::uint64_t missing_, pulse_ = 0;
  bool risen_ = false;
};

}  // namespace tachproof
