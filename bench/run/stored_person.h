// What the person at the bench did in a run that is judged again: each answer, each press and each move at
// the supply in its turn, after the rpm was kept for as long as he took.
#pragma once

#include <algorithm>
#include <optional>
#include <string>
#include <vector>

#include "bench/record/folder_format.h"
#include "bench/run/hooks.h"

namespace tachproof {

class StoredPerson {
 public:
  explicit StoredPerson(const std::vector<PersonDid>& did) : did_(did) {}

  // The button was pressed by hand.
  bool pressed(const std::string& action) const {
    return std::any_of(did_.begin(), did_.end(),
                       [&](const PersonDid& one) { return one.action && *one.action == action; });
  }
  // The supply was cut, or set, by hand.
  bool fed(const std::string& what) const {
    return std::any_of(did_.begin(), did_.end(), [&](const PersonDid& one) { return one.fed == what; });
  }
  // An answer for which the rpm was not kept: the watcher's own, or at once.
  std::optional<std::string> at_once() {
    if (next_ == did_.size() || did_[next_].action || !did_[next_].fed.empty() || did_[next_].held > 0)
      return std::nullopt;
    return did_[next_++].text;
  }
  // Nothing until the rpm was kept for long enough.
  std::optional<Reply> reply() {
    if (next_ == did_.size()) return Reply{};
    const PersonDid& one = did_[next_];
    if (kept_ < one.held) {
      ++kept_;
      return std::nullopt;
    }
    kept_ = 0;
    ++next_;
    return Reply{one.done ? std::optional(one.text) : std::nullopt};
  }

 private:
  const std::vector<PersonDid>& did_;
  std::size_t next_ = 0, kept_ = 0;
};

}  // namespace tachproof
