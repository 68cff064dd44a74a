// Finds pulses that went missing or came twice in a recorded tach signal, and
// mends them, so that the speed can be followed across.
//
// They show by what comes after: the pulses go on in the period from before,
// whole numbers of it apart. Several in a row, one soon after the other, are
// found as well.
#pragma once

#include <deque>
#include <vector>

#include "core/base/time.h"
#include "core/recording/rpm_track.h"

namespace tachproof {

class PulseCheck {
 public:
  // In: recorded edges. Out: mended edges, and where something was wrong: from the
  // last edge before that is as it should be to the first one after.
  void edge(Nanos at);
  void finish();

  struct Mended {
    std::vector<Nanos> edges;
    std::vector<SignalGap> gaps;  // missing, doubled
  };
  Mended take();

 private:
  void settle_front();
  bool goes_on(std::size_t from, double period) const;
  bool drop_extra(double before);
  bool fill_missing(double before);

  std::deque<Nanos> waiting_;  // [0] and [1] are good; the rest is to be looked at
  int alike_ = 0;              // good periods in a row that were alike
  Mended out_;
};

}  // namespace tachproof
