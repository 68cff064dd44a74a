#include "bench/rigs/simulated/spells.h"

#include <algorithm>

namespace tachproof {

SpellWalk::SpellWalk(std::vector<Spell> spells) {
  std::sort(spells.begin(), spells.end(), [](const Spell& a, const Spell& b) { return a.from < b.from; });
  for (const Spell& spell : spells) {
    if (spell.to <= spell.from) continue;
    if (!edges_.empty() && spell.from <= edges_.back()) {
      edges_.back() = std::max(edges_.back(), spell.to);
    } else {
      edges_.push_back(spell.from);
      edges_.push_back(spell.to);
    }
  }
}

}  // namespace tachproof
