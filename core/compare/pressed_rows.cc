#include "core/compare/pressed_rows.h"

#include <algorithm>
#include <cmath>

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

namespace {

std::string place(const std::string& button, std::size_t number) {
  return button + " " + std::to_string(number);
}

// With each its count among those of its button.
template <class Row>
std::vector<std::pair<std::string, const Row*>> counted(const std::vector<Row>& rows) {
  std::vector<std::pair<std::string, const Row*>> all;
  for (const Row& row : rows) {
    std::size_t number = 1;
    for (const Row* before = rows.data(); before != &row; ++before) {
      if constexpr (requires { row.button; })
        number += before->button == row.button;
      else
        ++number;
    }
    if constexpr (requires { row.button; })
      all.emplace_back(place(row.button, number), &row);
    else
      all.emplace_back("power " + std::to_string(number), &row);
  }
  return all;
}

class PressedPairs {
 public:
  PressedPairs(const ComparedRun& before, const ComparedRun& after, double wait_ms)
      : before_(before), after_(after), wait_ms_(wait_ms) {}

  std::vector<PressedPair> all() {
    each(before_.result.presses, after_.result.presses, "taken",
         [&](const PressResult& was, const PressResult& is) { presses(was, is); });
    each(before_.result.dims, after_.result.dims, "light",
         [&](const DimResult& was, const DimResult& is) { lights(was, is); });
    each(before_.result.powers, after_.result.powers, "boot",
         [&](const PowerResult& was, const PowerResult& is) { wakes(was, is); });
    return std::move(all_);
  }

 private:
  template <class Row, class Do>
  void each(const std::vector<Row>& before, const std::vector<Row>& after, const char* what, Do pair) {
    const auto old_rows = counted(before), new_rows = counted(after);
    for (const auto& [name, row] : new_rows) {
      place_ = name;
      const auto same = std::find_if(old_rows.begin(), old_rows.end(),
                                     [&](const auto& other) { return other.first == place_; });
      if (same != old_rows.end())
        pair(*same->second, *row);
      else
        alone(what, word_of(row->verdict), "not in the old run; judged by its own settings");
    }
    for (const auto& [name, row] : old_rows) {
      place_ = name;
      if (std::none_of(new_rows.begin(), new_rows.end(), [&](const auto& o) { return o.first == place_; }))
        alone(what, ChangeWord::cannot_tell, "not in the new run: play the same scenario");
    }
  }

  static ChangeWord word_of(Verdict verdict) {
    return verdict == Verdict::pass   ? ChangeWord::as_intended
           : verdict == Verdict::fail ? ChangeWord::unintended
                                      : ChangeWord::cannot_tell;
  }

  ComparisonItem item(std::string what, std::string unit, double expected) const {
    ComparisonItem one;
    one.what = std::move(what);
    one.boundary = place_;
    one.unit = std::move(unit);
    one.expected_change = expected;
    return one;
  }
  void alone(const char* what, ChangeWord word, std::string remark) {
    PressedPair one{item(what, "", not_measured)};
    one.item.word = word;
    one.item.remark = std::move(remark);
    all_.push_back(std::move(one));
  }
  void numbers(ComparisonItem one, const Measured& was, const Measured& is, double tells) {
    all_.push_back({std::move(one), true, was, is, tells});
  }

  void presses(const PressResult& was, const PressResult& is) {
    const double tolerance = std::min(before_.gauge.tolerance.rpm, after_.gauge.tolerance.rpm);
    // A press that was refused or ignored has taken nothing.
    if (!std::isnan(was.taken_rpm) || !std::isnan(is.taken_rpm))
      numbers(item("taken rpm", "rpm", is.rpm - was.rpm), {was.taken_rpm, was.expanded_uncertainty_rpm},
              {is.taken_rpm, is.expanded_uncertainty_rpm}, tolerance);
    refused(was, is);
    if (std::isnan(was.reaction_ms) || std::isnan(is.reaction_ms)) return;
    const auto u = [&](const ComparedRun& run) {
      return std::hypot(2e3 * run.stamp_s, to_ms(run.gauge.tolerance.settle) / 2, wait_ms_);
    };
    const Tolerance& t = after_.gauge.tolerance;
    numbers(item("reaction", "ms", 0), {was.reaction_ms, u(before_)}, {is.reaction_ms, u(after_)},
            std::max(to_ms(t.response_to - t.response_from) / 2, 2 * wait_ms_));
  }

  // 1: it refuses now what it took; -1: it takes what it refused.
  void refused(const PressResult& was, const PressResult& is) {
    PressedPair one{item("refused", "", double(is.must_refuse) - double(was.must_refuse))};
    if (!was.refused || !is.refused) {
      one.item.remark = std::string("not decided in the ") + (was.refused ? "new" : "old") + " run";
    } else {
      one.item.observed_change = double(*is.refused) - double(*was.refused);
      const bool as_expected = one.item.observed_change == one.item.expected_change;
      one.item.word = as_expected                       ? ChangeWord::as_intended
                      : one.item.observed_change == 0.0 ? ChangeWord::missing
                                                        : ChangeWord::unintended;
      if (!as_expected)
        one.item.remark = *is.refused ? "the unit did not take the rpm in the new run"
                                      : "the unit took the rpm in the new run";
    }
    all_.push_back(std::move(one));
  }

  void lights(const DimResult& was, const DimResult& is) {
    numbers(item("light", "%", 100 * (is.set_level - was.set_level)),
            {100 * was.level, 100 * was.expanded_uncertainty},
            {100 * is.level, 100 * is.expanded_uncertainty},
            std::max(2.0, 20 * std::min(was.set_level, is.set_level)));
  }

  // A unit may wake at any time that the settings allow, another one each time.
  void wakes(const PowerResult& was, const PowerResult& is) {
    PressedPair one{item("boot", "ms", not_measured)};
    one.item.observed_change = is.boot_ms - was.boot_ms;
    one.item.uncertainty = std::hypot(was.expanded_uncertainty_ms, is.expanded_uncertainty_ms);
    one.item.word = word_of(is.verdict);
    one.item.remark = is.verdict == Verdict::fail
                          ? "the new run's power cut fails: see its report"
                          : "judged by the settings: a unit may wake at any time that they allow";
    all_.push_back(std::move(one));
  }

  const ComparedRun& before_;
  const ComparedRun& after_;
  const double wait_ms_;
  std::string place_;
  std::vector<PressedPair> all_;
};

}  // namespace

std::vector<PressedPair> pressed_pairs(const ComparedRun& before, const ComparedRun& after, double wait_ms) {
  return PressedPairs(before, after, wait_ms).all();
}

}  // namespace tachproof
