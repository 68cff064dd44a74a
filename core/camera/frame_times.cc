#include "core/camera/frame_times.h"

namespace tachproof {

bool FrameTimes::take(Nanos at, bool same_picture) {
  ++frames_;
  if (any_ && at <= last_) {
    ++backwards_;
    return false;
  }
  if (any_ && 2 * (at - last_) > 3 * period_)
    dropped_ += static_cast<std::uint64_t>((at - last_ + period_ / 2) / period_ - 1);
  const bool repeated = any_ && same_picture;
  any_ = true;
  last_ = at;
  if (repeated) ++repeated_;
  return !repeated;
}

}  // namespace tachproof
