#include "bench/history/run_list.h"

#include "bench/history/history_store.h"

namespace tachproof {

bool RunListFilter::any() const {
  return !(unit.empty() && gauge.empty() && scenario.empty() && verdict.empty() && since.empty() &&
           find.empty());
}

RunList::RunList(const HistoryPlace& place) : store_(HistoryStore::open(place, HistoryStore::Open::list)) {}
RunList::~RunList() = default;
RunList::RunList(RunList&&) noexcept = default;

std::size_t RunList::count(const RunListFilter& filter) const { return store_->count(filter); }
std::vector<ListedRun> RunList::runs(const RunListFilter& filter, std::size_t most, std::size_t after) const {
  return store_->listed(filter, most, after);
}
std::vector<std::string> RunList::folders(const std::string& beneath) const {
  return store_->folders(beneath);
}
std::vector<std::string> RunList::gauges() const { return store_->gauges(); }
std::vector<std::string> RunList::scenarios() const { return store_->scenarios(); }
std::size_t RunList::count(const UnitFilter& filter) const { return store_->count(filter); }
std::vector<ListedUnit> RunList::units(const UnitFilter& filter, std::size_t most, std::size_t after) const {
  return store_->units(filter, most, after);
}
std::vector<HistoryRun> RunList::measured(const MeasuredFilter& filter, std::size_t most) const {
  return store_->measured(filter, most);
}

}  // namespace tachproof
