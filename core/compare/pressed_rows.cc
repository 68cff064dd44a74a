#include "core/compare/pressed_rows.h"

#include <algorithm>

namespace tachproof {
namespace {

template <class Row>
const std::string& place_of(const Row& row) {
  if constexpr (requires { row.boundary; })
    return row.boundary;
  else
    return row.window;
}

// Whether this is so of any row that the unit has only since it was pressed.
template <class Is>
bool any_since(const RunResult& result, const Is& is) {
  const auto in = [&](const auto& rows) {
    return std::any_of(rows.begin(), rows.end(),
                       [&](const auto& row) { return !row.state.empty() && is(row); });
  };
  return in(result.transitions) || in(result.boundaries) || in(result.deadbands) || in(result.responses) ||
         in(result.blinks);
}

template <class Rows>
bool all_pass(const Rows& rows) {
  return std::all_of(rows.begin(), rows.end(), [](const auto& r) { return r.verdict == Verdict::pass; });
}

}  // namespace

bool was_pressed(const RunResult& result) {
  return !result.presses.empty() || !result.dims.empty() || !result.powers.empty() ||
         any_since(result, [](const auto&) { return true; });
}

bool fails_when_pressed(const RunResult& result, const std::string& window) {
  return any_since(result,
                   [&](const auto& row) { return row.verdict == Verdict::fail && place_of(row) == window; });
}

bool passes_when_pressed(const RunResult& result) {
  const auto open = [](const auto& row) {
    if constexpr (requires { row.asked; })
      return row.verdict == Verdict::fail || (row.asked && row.verdict == Verdict::undecided);
    else
      return row.verdict != Verdict::pass;
  };
  return all_pass(result.presses) && all_pass(result.dims) && all_pass(result.powers) &&
         !any_since(result, open);
}

}  // namespace tachproof
