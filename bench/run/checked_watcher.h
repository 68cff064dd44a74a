// A watcher's changes, believed only where they can be true: in time order and
// not from later than they were asked for.
#pragma once

#include <string>
#include <vector>

#include "bench/rigs/rig.h"

namespace tachproof {

class CheckedWatcher {
 public:
  explicit CheckedWatcher(Watcher& watcher) : watcher_(watcher) {}
  // As Watcher::collect; `lost_why` is a sentence whenever something is lost.
  // Throws RigError for a change that is out of order.
  Seen collect(Nanos until, std::vector<LampEvent>& out);

 private:
  Watcher& watcher_;
  Nanos last_ = 0;
};

}  // namespace tachproof
