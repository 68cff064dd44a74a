// When the signal was not what the profile says: a missing or doubled pulse, the start of
// a recording. What is shown then is forgiven; what is shown before and after is not.
#pragma once

#include <cstddef>
#include <utility>
#include <vector>

#include "core/base/time.h"

namespace tachproof {

class Disturbances {
 public:
  // In order of `from`. Those that overlap are one.
  void add(Nanos from, Nanos to);

  bool any(Nanos from, Nanos to) const;           // one of them touches from..to
  std::size_t count(Nanos from, Nanos to) const;  // how many do
  Nanos within(Nanos from, Nanos to) const;       // how much of from..to they cover
  Nanos outside(Nanos from, Nanos to) const { return to - from - within(from, to); }
  Nanos end_of(Nanos t) const;  // of the one that t lies in; t itself where none does

 private:
  using Span = std::pair<Nanos, Nanos>;
  std::vector<Span>::const_iterator after(Nanos t) const;  // the first that begins after t

  std::vector<Span> spans_;
};

}  // namespace tachproof
