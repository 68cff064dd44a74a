// From lit lamps to a window: which one is being shown?
#pragma once

#include <optional>
#include <vector>

#include "core/gauge/gauge.h"

namespace tachproof {

class WindowReading {
 public:
  // Only `wired` channels are looked at.
  WindowReading(const Gauge& gauge, Channels wired);

  // Lit lamps are a picture of window w: its steady channels lit, its blinking
  // ones in any state, all others dark.
  bool shows(std::size_t window, Channels lit) const {
    return (lit & wired_ & ~cues_[window].blinking) == cues_[window].steady;
  }

  // Of some window.
  bool is_picture(Channels lit) const;

  struct Read {
    std::size_t window = 0;
    bool allowed = false;  // a picture of a window in lowest..highest
    bool known = false;    // a picture of some window
  };
  // The window shown where the lamps alone decide it: the one before, when it
  // may be shown still, or the only one that may be shown with this picture.
  std::optional<Read> read_plain(Channels lit, std::size_t lowest, std::size_t highest,
                                 std::size_t before) const;
  // The window shown, given those that may be shown, the one shown before and
  // the one that the rpm is heading for: where pictures are alike, the nearest
  // to the one before, rather on the way to `ahead` than away from it. A
  // picture of no window is read as the allowed window that it resembles most.
  Read read(Channels lit, std::size_t lowest, std::size_t highest, std::size_t before,
            std::size_t ahead) const;

  // On the way from one window to another with these lamps still lit: the last window
  // short of `to` that may be shown and has their picture; `from` when there is none.
  std::size_t furthest_alike(Channels lit, std::size_t from, std::size_t to, std::size_t lowest,
                             std::size_t highest) const;

  // Neighbours that look the same on the wired lamps.
  bool look_alike(std::size_t window_a, std::size_t window_b) const;
  // Neighbours that differ by blinking only: alike while the lamp is lit.
  bool alike_while_lit(std::size_t window_a, std::size_t window_b) const;

  Channels steady(std::size_t window) const { return cues_[window].steady; }
  Channels blinking(std::size_t window) const { return cues_[window].blinking; }

 private:
  std::vector<Cue> cues_;  // wired channels only
  Channels wired_;
};

}  // namespace tachproof
