#include "core/cause/likely_delay.h"

#include <algorithm>
#include <cstddef>

namespace tachproof {
namespace {

// For how many s the lamps would be wrong with each of these delays, all runs together.
std::vector<double> wrong_later(const std::vector<Road>& roads, const Gauge& gauge,
                                const std::vector<Nanos>& later, std::size_t every) {
  std::vector<double> wrong(later.size(), 0.0);
  for (const Road& road : roads) {
    const std::vector<double> one = road.wrong_s_later(gauge, later, every);
    for (std::size_t i = 0; i < wrong.size(); ++i) wrong[i] += one[i];
  }
  return wrong;
}

std::size_t least_of(const std::vector<double>& all) {
  return static_cast<std::size_t>(std::min_element(all.begin(), all.end()) - all.begin());
}

}  // namespace

std::optional<Nanos> likely_delay(const std::vector<Road>& roads, const Gauge& gauge) {
  constexpr int longest = 40;  // times what is allowed
  constexpr double clearly_righter = 0.8;
  const Nanos allowed = gauge.tolerance.response_to, fine = roads.front().step();
  const Nanos coarse = std::max(allowed / 8, fine);
  std::vector<Nanos> later{0};
  for (Nanos delay = allowed; delay < longest * allowed; delay += coarse) later.push_back(delay);
  const std::vector<double> wrong = wrong_later(roads, gauge, later, 4);
  const std::size_t about = least_of(wrong);
  if (about == 0 || wrong[about] > clearly_righter * wrong[0]) return std::nullopt;
  std::vector<Nanos> nearby;
  for (Nanos delay = later[about] - coarse; delay <= later[about] + coarse; delay += fine)
    nearby.push_back(delay);
  return roads.front().response() + nearby[least_of(wrong_later(roads, gauge, nearby, 1))];
}

}  // namespace tachproof
