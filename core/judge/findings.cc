#include "core/judge/findings.h"

#include <algorithm>
#include <utility>

namespace tachproof {

void FindingLog::add(Finding finding) {
  verdict_ = worst(verdict_, verdict_of(finding.kind));
  Group& group = groups_[{finding.kind, finding.window, finding.lamp}];
  if (group.kept >= max_alike || kept_.size() >= max_all) {
    ++group.more;
    ++left_out_;
    return;
  }
  ++group.kept;
  group.last = kept_.size();
  if (sink_) sink_(finding);
  kept_.push_back(std::move(finding));
}

bool FindingLog::any(FindingKind kind) const {
  return std::any_of(groups_.begin(), groups_.end(),
                     [kind](const auto& entry) { return std::get<0>(entry.first) == kind; });
}

std::vector<Finding> FindingLog::take(std::uint64_t& left_out) {
  for (const auto& [key, group] : groups_)
    if (group.more > 0 && group.kept > 0)
      kept_[group.last].message += "; and " + std::to_string(group.more) + " more like it";
  left_out = left_out_;
  std::stable_sort(kept_.begin(), kept_.end(),
                   [](const Finding& a, const Finding& b) { return a.at < b.at; });
  return std::exchange(kept_, {});
}

}  // namespace tachproof
