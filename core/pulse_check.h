// Finds pulses that went missing or came twice in a recorded tach signal, and
// mends them, so that the speed can be followed across.
#pragma once

#include <deque>
#include <vector>

#include "core/rpm_track.h"
#include "core/time.h"

namespace tachproof {

class PulseCheck {
 public:
  // In: recorded edges. Out: mended edges, and where something was wrong.
  void edge(Nanos at);
  void finish();

  struct Mended {
    std::vector<Nanos> edges;
    std::vector<SignalGap> gaps;  // missing, doubled
  };
  Mended take();

 private:
  bool settle_front();

  std::deque<Nanos> waiting_;  // [0] and [1] are good; the rest is to be looked at
  Mended out_;
};

}  // namespace tachproof
