// Lamps that blink in one window blink together: one blink drives them.
//
// A lamp that is dark while its partners are lit is seen when it lasts: lamps that
// change within some 30 ms of each other look as one (from memory). A unit that always
// blinks them apart blinks otherwise than thought, and is no unit with a fault.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/base/time.h"
#include "core/judge/result.h"
#include "core/judge/timeline.h"

namespace tachproof {

class BlinksApart {
 public:
  struct Seen {
    Nanos from = 0, lasted = 0;
    std::size_t window = 0;
    Channels lit = 0, dark = 0;  // of its blinking lamps, at `from`
  };
  // Shorter stretches are not seen by anyone, or come from the watcher.
  explicit BlinksApart(Nanos least) : least_(least) {}

  // From..to, adjoining, in time order: the window whose `blinking` lamps ought to be shown;
  // nothing while another or no certain window is demanded.
  void span(Nanos from, Nanos to, std::optional<std::size_t> window, Channels blinking, Channels lit);
  // Stretches that were seen, if the lamps otherwise blink together; else none.
  const std::vector<Seen>& seen();
  bool never_together() const { return apart_for_ > blinked_for_ / 4; }

 private:
  void end();

  Nanos least_;
  Nanos apart_for_ = 0, blinked_for_ = 0;
  std::optional<Seen> now_;
  std::vector<Seen> seen_;
};

}  // namespace tachproof
