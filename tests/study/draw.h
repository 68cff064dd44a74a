// Seeded draws of the study; the same on every machine.
#pragma once

#include <cmath>
#include <cstdint>
#include <numbers>
#include <random>
#include <vector>

namespace tachproof::study {

class Draw {
 public:
  // Streams of one seed are apart: a pair never changes when another is drawn differently.
  Draw(std::uint64_t seed, std::uint64_t stream) {
    std::seed_seq all{static_cast<std::uint32_t>(seed), static_cast<std::uint32_t>(seed >> 32),
                      static_cast<std::uint32_t>(stream), static_cast<std::uint32_t>(stream >> 32)};
    engine_.seed(all);
  }

  double uniform() { return (static_cast<double>(engine_() >> 12) + 0.5) * 0x1p-52; }  // 0 < u < 1
  double between(double low, double high) { return low + (high - low) * uniform(); }
  double log_between(double low, double high) { return low * std::pow(high / low, uniform()); }
  bool chance(double p) { return uniform() < p; }
  int whole(int low, int high) {
    return low + static_cast<int>(index(static_cast<std::size_t>(high - low + 1)));
  }
  std::size_t index(std::size_t n) {
    return static_cast<std::size_t>(uniform() * static_cast<double>(n)) % n;
  }
  double sign() { return chance(0.5) ? 1 : -1; }
  double normal() {  // Box and Muller; the second one is thrown away
    const double r = std::sqrt(-2 * std::log(uniform()));
    return r * std::cos(2 * std::numbers::pi * uniform());
  }
  double exponential(double mean) { return -mean * std::log(uniform()); }
  template <class T>
  const T& of(const std::vector<T>& all) {
    return all[index(all.size())];
  }

 private:
  std::mt19937_64 engine_;
};

}  // namespace tachproof::study
