// Changes that a reader has found and not yet handed out.
#pragma once

#include <algorithm>
#include <span>
#include <vector>

#include "bench/formats/recording.h"

namespace tachproof {

class PendingChanges {
 public:
  void add(const ChannelChange& change) { changes_.push_back(change); }
  std::size_t size() const { return changes_.size(); }
  // Moves the oldest into `out`, as many as it has room for; how many.
  std::size_t give(std::span<ChannelChange> out) {
    const std::size_t some = std::min(out.size(), changes_.size() - given_);
    std::copy_n(changes_.begin() + static_cast<std::ptrdiff_t>(given_), some, out.begin());
    given_ += some;
    if (given_ == changes_.size()) {
      changes_.clear();
      given_ = 0;
    }
    return some;
  }

 private:
  std::vector<ChannelChange> changes_;
  std::size_t given_ = 0;
};

}  // namespace tachproof
