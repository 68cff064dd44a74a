// Follows a unit that dims its lamps: how bright each lamp is while it is steadily lit, and looks as if
// it were at full light, so that what reads changes from them needs to know of no dimming.
//
// A lamp's level is the mean of three frames in a row that show it lit in one colour and alike; a frame
// beside a change is less bright than the two that follow, and keeps its share of them. Two frames
// are therefore held back. A lamp that brightens by degrees is never alike, and stays what it is: weak.
#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <utility>
#include <vector>

#include "core/base/time.h"
#include "core/camera/lamp_colour.h"

namespace tachproof {

class DimFollower {
 public:
  // Per lamp and colour: its light as taught (LampLook::light). Looks beyond these lamps pass unchanged.
  explicit DimFollower(std::vector<std::vector<double>> taught)
      : taught_(std::move(taught)), lamps_(taught_.size()) {}

  struct Frame {
    Nanos at = 0;
    std::uint64_t number = 0;
    std::vector<LampLook> looks = {};
  };
  void add(Frame frame) { held_.push_back(std::move(frame)); }
  // The next frame that is understood; with `all`, the last ones too.
  std::optional<Frame> take(bool all = false);

  // A lamp that was steadily lit over three frames, at the middle one.
  struct Steady {
    Nanos at = 0;
    std::size_t lamp = 0, colour = 0;
    double flux = 0;  // as LampLook has it
    double open = 0;  // as LampLook has it
  };
  std::vector<Steady> take_steady() { return std::exchange(steady_, {}); }

 private:
  struct Lamp {
    double level = 1;  // share of its light as taught
    LampLook last;     // as it came
  };
  double share(std::size_t lamp, const LampLook& look) const;
  bool alike(std::size_t lamp, const LampLook& a, const LampLook& b) const;
  void level(std::size_t lamp, Nanos at, LampLook& look);

  std::vector<std::vector<double>> taught_;
  std::vector<Lamp> lamps_;
  std::deque<Frame> held_;
  std::vector<Steady> steady_;
};

}  // namespace tachproof
