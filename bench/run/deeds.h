// What is done to a unit in the course of a run, in its turn: by the rig, or by a person where the rig
// cannot.
#pragma once

#include <algorithm>
#include <variant>
#include <vector>

#include "bench/rigs/rig.h"
#include "core/signal/profile.h"

namespace tachproof {

// One thing that is done or asked in its turn. `second`: of what a person does in two moves, the other one:
// he gives back the supply that he has cut, or sets a ramp's end.
struct Deed : Action {
  bool second = false;
};

inline bool needs_two_hands(const Action& action, const Source& source) {
  if (std::holds_alternative<PowerOff>(action.what)) return !source.can_power();
  const Supply* supply = std::get_if<Supply>(&action.what);
  return supply != nullptr && supply->from_v != supply->to_v && !source.can_supply();
}

inline Nanos lasts(const Action& action) {
  if (const PowerOff* off = std::get_if<PowerOff>(&action.what)) return off->lasts;
  const Supply* supply = std::get_if<Supply>(&action.what);
  return supply != nullptr ? supply->lasts : 0;
}

inline std::vector<Deed> deeds_of(const Profile& profile, const Source& source) {
  std::vector<Deed> deeds;
  for (const Action& action : profile.actions()) {
    deeds.push_back({action, false});
    if (!needs_two_hands(action, source)) continue;
    deeds.push_back({action, true});
    deeds.back().at += lasts(action);
  }
  std::stable_sort(deeds.begin(), deeds.end(), [](const Deed& a, const Deed& b) { return a.at < b.at; });
  return deeds;
}

}  // namespace tachproof
