// Stretches of time with something special about them: no supply, frozen.
#pragma once

#include <limits>
#include <vector>

#include "core/base/time.h"

namespace tachproof {

inline constexpr Nanos never = std::numeric_limits<Nanos>::max();

// from <= t < to
struct Spell {
  Nanos from = 0;
  Nanos to = 0;
  bool operator==(const Spell&) const = default;
};

// Walks through spells in time order. Spells may overlap and come in any order.
class SpellWalk {
 public:
  explicit SpellWalk(std::vector<Spell> spells);

  bool inside() const { return passed_ % 2 == 1; }
  // The next instant at which inside() changes.
  Nanos next() const { return passed_ < edges_.size() ? edges_[passed_] : never; }
  void pass() { ++passed_; }  // that instant

 private:
  std::vector<Nanos> edges_;  // in, out, in, out, ...
  std::size_t passed_ = 0;
};

}  // namespace tachproof
