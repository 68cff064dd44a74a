// The pulses of a steady engine in their places: doubled ones left out, missing ones put in.
//
// In one pass over any number of edges: the first places are kept, in the rest pulses are counted only.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "core/base/time.h"

namespace tachproof {

// Instants in seconds from the first, the mended ones among them marked.
struct MendedPulses {
  std::vector<double> at_s;
  std::vector<bool> mended;
  std::uint64_t edges = 0;   // that were read
  std::uint64_t placed = 0;  // with those that are not kept
  double duration_s = 0;     // from the first edge to the last
  std::uint64_t missing = 0;
  std::uint64_t doubled = 0;
  double doubled_after_s = 0;  // mean
};

class PulseMender {
 public:
  explicit PulseMender(std::size_t most_kept) : most_kept_(most_kept) {}
  void add(std::span<const Nanos> edges);  // increasing
  MendedPulses finish();

 private:
  void begin();
  void take(Nanos edge, const Nanos* next);
  void place(double at_s, bool mended);

  std::size_t most_kept_;
  std::vector<Nanos> first_;  // until there are enough to know the period by
  bool begun_ = false;
  Nanos origin_ = 0;
  Nanos waiting_ = 0;  // for the edge that follows it
  bool any_waiting_ = false;
  double period_s_ = 0;
  double last_s_ = 0;
  MendedPulses out_;
};

}  // namespace tachproof
