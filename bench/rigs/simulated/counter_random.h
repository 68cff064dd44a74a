// Random numbers by their index, so that how a run is cut into blocks never
// changes what is drawn. The mixing function is splitmix64's (Steele, Lea and
// Flood 2014; constants from Vigna's public-domain code, from memory).
#pragma once

#include <cmath>
#include <cstdint>
#include <numbers>

namespace tachproof {

class CounterRandom {
 public:
  // One seed, many independent streams.
  CounterRandom(std::uint64_t seed, std::uint64_t stream) : key_(mix(seed ^ mix(stream))) {}

  std::uint64_t bits(std::uint64_t index) const { return mix(key_ + index * golden); }
  // Above 0, below 1.
  double uniform(std::uint64_t index) const {
    return (static_cast<double>(bits(index) >> 12) + 0.5) * 0x1p-52;
  }
  double exponential(std::uint64_t index) const { return -std::log(uniform(index)); }  // mean 1
  double normal(std::uint64_t index) const {                                           // Box and Muller
    return std::sqrt(2 * exponential(2 * index)) * std::cos(2 * std::numbers::pi * uniform(2 * index + 1));
  }

 private:
  static constexpr std::uint64_t golden = 0x9e3779b97f4a7c15;
  static std::uint64_t mix(std::uint64_t x) {
    x += golden;
    x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9;
    x = (x ^ (x >> 27)) * 0x94d049bb133111eb;
    return x ^ (x >> 31);
  }

  std::uint64_t key_;
};

}  // namespace tachproof
