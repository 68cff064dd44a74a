// Which lamps were ever seen lit and dark, and which the settings wanted so: a lamp that never
// was, though it had to be, is stuck.
#pragma once

#include "core/gauge/gauge.h"

namespace tachproof {

class LampsEver {
 public:
  // What was lit of the wired channels for a while.
  void seen(Channels lit, Channels wired) {
    lit_ |= lit;
    dark_ |= ~lit & wired;
  }
  // What one window alone, shown for long enough, had to show.
  void wanted(Channels steady, Channels blinking, Channels wired) {
    ought_lit_ |= steady;
    ought_dark_ |= wired & ~(steady | blinking);
  }

  Channels never_lit() const { return ought_lit_ & ~lit_; }
  Channels never_dark() const { return ought_dark_ & ~dark_; }

 private:
  Channels lit_ = 0, dark_ = 0, ought_lit_ = 0, ought_dark_ = 0;
};

}  // namespace tachproof
