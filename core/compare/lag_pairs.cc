#include "core/compare/lag_pairs.h"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <map>
#include <utility>

namespace tachproof {
namespace {

constexpr double same_rate = 0.01;

using Rows = std::map<std::pair<std::string, Direction>, std::vector<const TransitionResult*>>;

Rows rows_of(const RunResult& result) {
  Rows rows;
  for (const TransitionResult& row : result.transitions)
    if (row.state.empty()) rows[{row.boundary, row.direction}].push_back(&row);
  for (auto& [key, list] : rows)
    std::stable_sort(list.begin(), list.end(), [](auto* a, auto* b) { return a->nominal < b->nominal; });
  return rows;
}

bool goes_its_way(const TransitionResult& row) {
  return row.step || (row.direction == Direction::rising ? row.rate_rpm_per_s > 0 : row.rate_rpm_per_s < 0);
}

// Where the threshold is set as it was, a demand has the same nominal instant in both
// runs; one that is missing from a run's rows is left out of both.
void keep_same_demands(std::vector<const TransitionResult*>& a, std::vector<const TransitionResult*>& b) {
  if (a.empty() || b.empty() || a[0]->nominal_rpm != b[0]->nominal_rpm) return;
  constexpr Nanos same = 1000;
  const auto is_in = [](const std::vector<const TransitionResult*>& rows) {
    return [&rows](const TransitionResult* row) {
      return std::any_of(rows.begin(), rows.end(), [&](const TransitionResult* other) {
        return std::abs(other->nominal - row->nominal) <= same;
      });
    };
  };
  std::vector<const TransitionResult*> kept;
  std::copy_if(a.begin(), a.end(), std::back_inserter(kept), is_in(b));
  std::erase_if(b, [&](const TransitionResult* row) { return !is_in(a)(row); });
  a = std::move(kept);
}

}  // namespace

double rate_of(const LagPair& pair) {
  const double sign = pair.direction == Direction::rising ? 1 : -1;
  return pair.rate_rpm_per_s != 0 ? pair.rate_rpm_per_s : sign * as_fast_as_a_step;
}

std::vector<LagPair> lag_pairs(const RunResult& before, const RunResult& after,
                               const std::vector<PairedName>& names) {
  Rows was = rows_of(before), is = rows_of(after);
  std::vector<LagPair> pairs;
  for (const PairedName& name : names)
    for (const Direction d : {Direction::rising, Direction::falling}) {
      const auto a = was.find({name.before, d}), b = is.find({name.after, d});
      if (a == was.end() || b == is.end()) continue;
      keep_same_demands(a->second, b->second);
      if (a->second.size() != b->second.size()) continue;
      for (std::size_t i = 0; i < a->second.size(); ++i) {
        const TransitionResult &one = *a->second[i], &other = *b->second[i];
        const double rate = one.rate_rpm_per_s;
        if (!one.seen || !other.seen || one.step != other.step || !goes_its_way(one)) continue;
        if (!one.step && std::abs(other.rate_rpm_per_s - rate) > same_rate * std::abs(rate)) continue;
        const Nanos lag = (other.at - other.nominal) - (one.at - one.nominal);
        pairs.push_back({name.boundary, d, one.step ? 0 : rate, to_seconds(lag), to_seconds(one.nominal),
                         to_seconds(other.nominal)});
      }
    }
  return pairs;
}

}  // namespace tachproof
