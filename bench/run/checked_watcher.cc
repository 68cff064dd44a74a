#include "bench/run/checked_watcher.h"

#include <fmt/format.h>

#include "core/base/text.h"

namespace tachproof {

Seen CheckedWatcher::collect(Nanos until, std::vector<LampEvent>& out) {
  const std::size_t before = out.size();
  Seen seen = watcher_.collect(until, out);
  for (std::size_t i = before; i < out.size(); ++i) {
    if (out[i].at < last_ || out[i].at > until)
      throw RigError(
          fmt::format("the watcher reported a lamp change at {}, out of time order", say_time(out[i].at)));
    last_ = out[i].at;
  }
  if (seen.lost > 0 && seen.lost_why.empty())
    seen.lost_why = fmt::format("the watcher lost {} lamp changes", seen.lost);
  return seen;
}

}  // namespace tachproof
