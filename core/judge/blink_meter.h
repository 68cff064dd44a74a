// Rate and duty of a blinking channel, over all visits to its window.
#pragma once

#include "core/base/time.h"

namespace tachproof {

class BlinkMeter {
 public:
  // The window is entered or left; what the channel does in between counts.
  void enter(Nanos at, bool lit);
  void change(Nanos at, bool lit);
  void leave(Nanos at);

  int cycles() const;  // whole ones, from like edge to like edge
  double hz() const;   // call only with cycles() > 0
  double duty() const;
  double shortest_s() const { return to_seconds(shortest_); }  // single periods
  double longest_s() const { return to_seconds(longest_); }
  Nanos watched() const { return watched_; }
  Nanos longest_still() const { return longest_still_; }  // without a change, within a visit
  Nanos longest_still_at() const { return longest_still_at_; }

 private:
  struct Train {  // periods between edges of one kind
    Nanos last = -1;
    Nanos total = 0, lit = 0;
    int periods = 0;
  };
  const Train& longer() const { return rises_.periods >= falls_.periods ? rises_ : falls_; }
  void still_until(Nanos at);

  bool inside_ = false, lit_ = false;
  Nanos entered_ = 0, last_change_ = 0;
  Nanos lit_for_ = 0;  // of the present visit, up to the last change
  Nanos lit_at_rise_ = 0, lit_at_fall_ = 0;
  Train rises_, falls_;
  Nanos shortest_ = 0, longest_ = 0, watched_ = 0;
  Nanos longest_still_ = 0, longest_still_at_ = 0;
};

}  // namespace tachproof
