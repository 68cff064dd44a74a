// A camera's frame times, believed only where they make sense.
//
// Frames get lost on the way without an error, come twice, or come late and out
// of order after a stall; measured on V4L2 devices. A frame that tells nothing
// new is passed over, so that the time until the next good one is what the
// camera did not see.
#pragma once

#include <cstdint>

#include "core/base/time.h"

namespace tachproof {

class FrameTimes {
 public:
  explicit FrameTimes(Nanos period) : period_(period) {}

  // Whether the frame is good. `same_picture`: identical to the last, bit by
  // bit, which a sensor's noise never is.
  bool take(Nanos at, bool same_picture);

  std::uint64_t frames() const { return frames_; }      // all
  std::uint64_t dropped() const { return dropped_; }    // by the steps of their times
  std::uint64_t repeated() const { return repeated_; }  // the same picture again
  std::uint64_t backwards() const { return backwards_; }

 private:
  Nanos period_;
  bool any_ = false;
  Nanos last_ = 0;
  std::uint64_t frames_ = 0, dropped_ = 0, repeated_ = 0, backwards_ = 0;
};

}  // namespace tachproof
