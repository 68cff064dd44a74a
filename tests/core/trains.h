// Whole pulse trains in memory, for tests.
#pragma once

#include <vector>

#include "core/signal/pulse_train.h"

namespace tachproof::test {

inline std::vector<Nanos> edges_of(PulseTrain& train, std::size_t block = 4096) {
  std::vector<Nanos> all;
  std::vector<Nanos> some(block);
  while (const std::size_t n = train.next(some))
    all.insert(all.end(), some.begin(), some.begin() + static_cast<std::ptrdiff_t>(n));
  return all;
}

inline std::vector<Nanos> edges_of(const Profile& profile, double pulses_per_rev, const Noise& noise = {},
                                   std::uint64_t seed = 0, std::size_t block = 4096) {
  PulseTrain train(profile, pulses_per_rev, noise, seed);
  return edges_of(train, block);
}

}  // namespace tachproof::test
