#include "core/judge/unit_ways.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "core/judge/press_rows.h"

namespace tachproof {
namespace {

// More than two wrong doings in a row that no lamp showed are not followed.
constexpr std::size_t most_ways = 6;

bool fits(const JudgedWay& way) { return way.result && !unit_fails(*way.result); }

}  // namespace

bool UnitWay::did_otherwise(std::size_t event) const {
  return std::find(otherwise.begin(), otherwise.end(), event) != otherwise.end();
}

std::vector<UnitWay> through_event(const std::vector<UnitWay>& before, std::size_t event,
                                   const std::function<void(StateFollower&)>& happens) {
  std::vector<UnitWay> all, others;
  const auto add = [](std::vector<UnitWay>& to, UnitWay way) {
    const bool known = std::any_of(to.begin(), to.end(), [&](const UnitWay& one) {
      return same_boundaries(one.unit.now(), way.unit.now());
    });
    if (!known) to.push_back(std::move(way));
  };
  for (const UnitWay& way : before) {
    StateFollower unit = way.unit;
    happens(unit);
    for (const StateFollower& other : unit.otherwise()) {
      UnitWay one{other, way.otherwise};
      one.otherwise.push_back(event);
      add(others, std::move(one));
    }
    const std::vector<StateFollower> as_well = unit.as_well();
    add(all, {std::move(unit), way.otherwise});
    for (const StateFollower& other : as_well) add(all, {other, way.otherwise});
  }
  for (UnitWay& other : others) all.push_back(std::move(other));
  std::stable_sort(all.begin(), all.end(), [](const UnitWay& a, const UnitWay& b) {
    return a.otherwise.size() < b.otherwise.size();
  });
  if (all.size() > most_ways) all.erase(all.begin() + most_ways, all.end());
  return all;
}

std::size_t likeliest(const std::vector<JudgedWay>& ways, const std::vector<std::size_t>& moved) {
  const auto fitting = std::find_if(ways.begin(), ways.end(), fits);
  if (fitting != ways.end()) return static_cast<std::size_t>(fitting - ways.begin());
  const auto off = [&](const JudgedWay& way) {
    return way.result ? furthest_off(*way.result, way.unit.now().gauge, moved)
                      : std::numeric_limits<double>::infinity();
  };
  constexpr double clearly = 0.5;
  std::size_t nearest = 0;
  double least = clearly * off(ways.front());
  for (std::size_t i = 1; i < ways.size(); ++i)
    if (const double one = off(ways[i]); one < least) nearest = i, least = one;
  return nearest;
}

std::vector<UnitWay> still_open(const std::vector<JudgedWay>& ways, std::size_t likeliest) {
  std::vector<UnitWay> left{ways[likeliest]};
  for (std::size_t i = 0; i < ways.size(); ++i)
    if (i != likeliest && (fits(ways[i]) || !ways[i].result)) left.push_back(ways[i]);
  return left;
}

}  // namespace tachproof
