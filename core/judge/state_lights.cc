// Steps of a dimming button in the states of a run, by wires or by light.
#include <algorithm>

#include "core/judge/press_rows.h"
#include "core/judge/state_results.h"

namespace tachproof {
namespace {

// Of each lamp, from the state at full light that shows it in the most pictures.
LightSums at_full_light(const Gauge& gauge, std::deque<StateSpell>& spells, std::size_t before) {
  LightSums full;
  for (std::size_t i = 0; i < before; ++i) {
    StateSpell& spell = spells[i];
    if (spell.ways.empty() || level_set(gauge, spell) < 1) continue;
    const LightSums& sums = spell.lights.sums(spell.judged_from);
    full.resize(std::max(full.size(), sums.size()));
    for (std::size_t c = 0; c < sums.size(); ++c)
      if (sums[c].count() > full[c].count()) full[c] = sums[c];
  }
  return full;
}

}  // namespace

double level_set(const Gauge& gauge, const StateSpell& spell) {
  for (const Button& button : gauge.buttons)
    if (const auto* dim = std::get_if<Dim>(&button.does)) return dim->levels[spell.way().unit.now().level];
  return 1;
}

void SpellLights::add(const SeenLight& light, Nanos judged_from) {
  waiting_.push_back(light);
  if (judged_from != StateSpell::never) sums(judged_from);
}

const LightSums& SpellLights::sums(Nanos judged_from) {
  for (const SeenLight& light : waiting_) {
    if (light.at < judged_from) continue;
    if (sums_.size() <= light.channel) sums_.resize(light.channel + 1);
    sums_[light.channel].add(light);
  }
  waiting_.clear();
  return sums_;
}

void judge_step(const Gauge& gauge, const JudgeSetup& setup, std::deque<StateSpell>& spells,
                std::size_t index, bool dims_visibly, DimResult& row, std::vector<Finding>& findings) {
  StateSpell& spell = spells[index];
  if (std::any_of(spells.begin(), spells.end(), [](const StateSpell& s) { return s.lights.any(); })) {
    // Full light itself is the measure, and may have been set again: then it is held to what it was before.
    judge_dim_light(gauge, spell.lights.sums(spell.judged_from), at_full_light(gauge, spells, index), row,
                    findings);
    return;
  }
  judge_dim(gauge, *spell.way().result, spell.lit_long, dims_visibly, setup.bench.watcher.resolution, row,
            findings);
}

}  // namespace tachproof
