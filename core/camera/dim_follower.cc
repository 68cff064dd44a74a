#include "core/camera/dim_follower.h"

#include <algorithm>
#include <cmath>

namespace tachproof {
namespace {

constexpr std::size_t looks_ahead = 2;
constexpr double unlike = steady_ripple / 2;

bool is_lit(const LampLook& look) { return look.state == LampLook::State::lit; }

}  // namespace

double DimFollower::share(std::size_t lamp, const LampLook& look) const {
  const std::vector<double>& taught = taught_[lamp];
  return look.colour < taught.size() ? look.light / std::max(taught[look.colour], 1e-9) : look.light;
}

bool DimFollower::alike(std::size_t lamp, const LampLook& a, const LampLook& b) const {
  if (!is_lit(a) || !is_lit(b) || a.colour != b.colour) return false;
  const double first = share(lamp, a), second = share(lamp, b);
  return std::abs(first - second) <= unlike * std::max(first, second);
}

std::optional<DimFollower::Frame> DimFollower::take(bool all) {
  if (held_.empty() || (!all && held_.size() <= looks_ahead)) return std::nullopt;
  Frame frame = std::move(held_.front());
  held_.pop_front();
  for (std::size_t i = 0; i < std::min(lamps_.size(), frame.looks.size()); ++i)
    level(i, frame.at, frame.looks[i]);
  return frame;
}

// `look` becomes what it would be at full light.
void DimFollower::level(std::size_t index, Nanos at, LampLook& look) {
  Lamp& lamp = lamps_[index];
  const LampLook before = std::exchange(lamp.last, look);
  if (held_.size() >= looks_ahead) {
    const LampLook &next = held_[0].looks[index], &after = held_[1].looks[index];
    // Lit or on its way to it.
    if (look.state != LampLook::State::dark && alike(index, next, after) &&
        (!is_lit(look) || look.colour == next.colour)) {
      const bool steady = alike(index, look, next);
      const double here = share(index, look), mean = (share(index, next) + share(index, after)) / 2;
      // A lamp that is about to be dimmed further is still as it was.
      if (steady || here < mean) lamp.level = steady ? (here + 2 * mean) / 3 : mean;
    }
  }
  if (is_lit(look)) {
    const double here = share(index, look);
    if (!held_.empty() && alike(index, before, look) && alike(index, look, held_[0].looks[index]))
      steady_.push_back({at, index, look.colour, look.flux, look.open});
    look.weak = here < (1 - steady_ripple) * lamp.level;
  }
  look.light /= std::max(lamp.level, 1e-3);
}

}  // namespace tachproof
