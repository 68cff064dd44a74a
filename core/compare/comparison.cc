#include "core/compare/comparison.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <map>
#include <set>

#include "core/base/en_score.h"
#include "core/base/text.h"
#include "core/compare/change_word.h"
#include "core/compare/compared_numbers.h"
#include "core/compare/comparison_notes.h"
#include "core/compare/cue_rows.h"
#include "core/compare/cue_states.h"
#include "core/compare/new_findings.h"
#include "core/compare/paired_changes.h"
#include "core/compare/pressed_rows.h"
#include "core/compare/update_period.h"
#include "core/gauge/settings_change.h"

namespace tachproof {
namespace {

class Comparing {
 public:
  Comparing(const ComparedRun& before, const ComparedRun& after)
      : before_(before),
        after_(after),
        change_(settings_change(before.gauge, after.gauge)),
        cues_(before, after, change_, unwired_) {
    for (const ComparedRun* run : {&before, &after})
      unwired_.insert(run->result.not_judged.begin(), run->result.not_judged.end());
  }

  Comparison run() {
    pair_transitions();
    for (const WindowChange& w : change_.windows) {
      if (w.before && w.after && *w.before > 0 && *w.after > 0)
        boundary(w);
      else if (w.after && *w.after > 0)
        new_boundary(w);
      else if (w.before && *w.before > 0)
        cues_.add_gone(comparison_, w);
      if (w.before && w.after) {
        cues_.add(comparison_, w);
        blinks(w);
      }
    }
    responses_together();
    pressed();
    if (updates_changed_) update_period();
    words_.allowed_response_ms = allowed_response_ms();
    put_words(comparison_, words_);
    cues_.decide(comparison_);
    add_new_findings(comparison_, before_, after_, change_);
    conclude();
    return std::move(comparison_);
  }

 private:
  void pair_transitions() {
    if (before_.train.empty() || before_.train != after_.train ||
        before_.gauge.pulses_per_rev != after_.gauge.pulses_per_rev)
      return;
    std::vector<PairedName> names;
    for (const WindowChange& w : change_.windows)
      if (w.before && w.after && *w.before > 0 && *w.after > 0)
        names.push_back({*w.after, old_name(w), w.name});
    updates_ = updates_of_runs();
    paired_ = paired_changes(lag_pairs(before_.result, after_.result, names), after_.gauge.boundaries(),
                             std::max(before_.stamp_s, after_.stamp_s), updates_);
  }
  // The period of the unit's updates, run by run. Where it is not seen: what the run's own
  // visits scatter by in time, at least as a unit that updates every 10 ms.
  UpdatesOfRuns updates_of_runs() {
    constexpr double usual_ms = 2.9;
    UpdatesOfRuns updates;
    std::array<bool, 2> found{};
    for (const std::size_t k : {0u, 1u}) {
      const RunResult& result = (k == 0 ? before_ : after_).result;
      std::optional<double> period_s = update_period_s(result);
      // No unit with such updates answers in time: the train was even, or something else repeats.
      if (period_s && *period_s * 1e3 > allowed_response_ms()) period_s.reset();
      const double scatter_ms = std::isfinite(result.scatter.ms) ? result.scatter.ms : 0;
      updates.period_s[k] = period_s.value_or(std::sqrt(12.0) * std::max(scatter_ms, usual_ms) * 1e-3);
      found[k] = period_s.has_value();
      if (std::isfinite(result.scatter.rpm)) updates.scatter_rpm[k] = result.scatter.rpm;
    }
    constexpr double same = 0.02;
    const double both = std::fabs(updates.period_s[1] / updates.period_s[0] - 1);
    updates.seen = found[0] && found[1] && both < same;
    updates_changed_ = found[0] && found[1] && both >= same;
    return updates;
  }
  static bool by_holds(const BoundaryResult* row) { return row != nullptr && row->by_holds; }
  const PairedChange* paired(const WindowChange& w, Direction d) const {
    if (paired_.changes.empty()) return nullptr;
    // Two holds measure a threshold better than the few ramps that crossed it on the way.
    if (by_holds(old_row(w, d)) && by_holds(new_row(w, d))) return nullptr;
    const PairedChange& change = paired_.changes[2 * *w.after + (d == Direction::falling ? 1 : 0)];
    return change.response.is_there() ? &change : nullptr;
  }

  // What was measured is how far the change is off the expected one.
  void paired_number(ComparisonItem item, const Measured& off, double tells, RowBasis row = {}) {
    item.observed_change = item.expected_change + off.value;
    item.uncertainty = off.expanded;
    item.e_n = off.expanded > 0 ? std::fabs(off.value) / off.expanded : not_measured;
    row.tells = tells;
    row.dof = off.dof;
    row.by_updates = off.by_updates;
    words_.rows.emplace(comparison_.items.size(), row);
    comparison_.items.push_back(std::move(item));
  }

  // Beyond `tells`, an uncertainty hides what matters.
  void number(ComparisonItem item, const Measured& was, const Measured& is, double tells) {
    const Measured observed = change_of(was, is);
    item.observed_change = observed.value;
    item.uncertainty = observed.expanded;
    item.e_n = std::fabs(en_score(observed.value, item.expected_change, observed.expanded, 0));
    if (!was.is_there() || !is.is_there()) {
      item.observed_change = item.uncertainty = item.e_n = not_measured;
      item.remark = was.is_there()  ? "not measured in the new run"
                    : is.is_there() ? "not measured in the old run"
                                    : "not measured in either run";
    }
    RowBasis row;
    row.tells = tells;
    row.dof = observed.dof;
    words_.rows.emplace(comparison_.items.size(), row);
    comparison_.items.push_back(std::move(item));
  }

  static ComparisonItem item(std::string what, const WindowChange& w, std::string unit, double expected) {
    ComparisonItem item;
    item.what = std::move(what);
    item.boundary = w.name;
    item.unit = std::move(unit);
    item.expected_change = expected;
    return item;
  }

  static const std::string& old_name(const WindowChange& w) {
    return w.was_called.empty() ? w.name : w.was_called;
  }

  const BoundaryResult* old_row(const WindowChange& w, Direction d) const {
    return row_of(before_.result, old_name(w), d);
  }
  const BoundaryResult* new_row(const WindowChange& w, Direction d) const {
    return row_of(after_.result, w.name, d);
  }

  void boundary(const WindowChange& w) {
    const double tolerance = tolerance_rpm();
    for (const Direction d : {Direction::rising, Direction::falling}) {
      const NumberChange& nominal = d == Direction::rising ? w.rising_rpm : w.falling_rpm;
      ComparisonItem row = item("threshold", w, "rpm", nominal.by());
      row.direction = d;
      const PairedChange* const p = paired(w, d);
      if (p != nullptr && p->threshold.is_there())
        paired_number(std::move(row), p->threshold, tolerance, row_of_pairs(*p));
      else
        number(std::move(row), threshold_of(old_row(w, d)), threshold_of(new_row(w, d)), tolerance);
    }
    deadband(w, 2 * tolerance);
    for (const Direction d : {Direction::rising, Direction::falling}) responses(w, d);
  }

  void deadband(const WindowChange& w, double tells) {
    ComparisonItem row = item("deadband", w, "rpm", after_.gauge.deadband.rpm - before_.gauge.deadband.rpm);
    const PairedChange* const up = paired(w, Direction::rising);
    const PairedChange* const down = paired(w, Direction::falling);
    if (up == nullptr || down == nullptr || !up->threshold.is_there() || !down->threshold.is_there())
      return number(std::move(row),
                    deadband_of(old_row(w, Direction::rising), old_row(w, Direction::falling)),
                    deadband_of(new_row(w, Direction::rising), new_row(w, Direction::falling)), tells);
    RowBasis pairs = row_of_pairs(up->told_apart ? *down : *up);
    pairs.pairs = std::min(up->pairs, down->pairs);
    paired_number(std::move(row), paired_.deadbands[*w.after], tells, pairs);
  }

  RowBasis row_of_pairs(const PairedChange& p) const {
    RowBasis row;
    row.pairs = p.pairs;
    if (!p.told_apart && p.threshold.is_there()) row.only_rate_rpm_per_s = std::abs(p.rate_rpm_per_s);
    return row;
  }

  double tolerance_rpm() const { return std::min(before_.gauge.tolerance.rpm, after_.gauge.tolerance.rpm); }

  double allowed_response_ms() const {
    const Tolerance& was = before_.gauge.tolerance;
    const Tolerance& is = after_.gauge.tolerance;
    return std::min(to_ms(was.response_to - was.response_from), to_ms(is.response_to - is.response_from));
  }

  // A response is never known better than the unit's own wait for its next update.
  double response_that_matters_ms() const {
    return std::max(allowed_response_ms() / 2, updates_.seen ? updates_.bound_s() * 1e3 : 0);
  }

  // A threshold that was measured between two holds has no response of its own: other boundaries, which were
  // measured in both runs, speak for it.
  bool left_to_others(const WindowChange& w, Direction d) const {
    if (paired(w, d) != nullptr) return false;
    if (old_row(w, d) == nullptr || new_row(w, d) == nullptr) return false;
    if (!by_holds(old_row(w, d)) && !by_holds(new_row(w, d))) return false;
    return std::any_of(change_.windows.begin(), change_.windows.end(), [&](const WindowChange& other) {
      return response_of(old_row(other, d)).is_there() && response_of(new_row(other, d)).is_there();
    });
  }

  // The settings say how fast a unit must be, not how fast it is: as long as
  // they stay the same, so should the unit.
  void responses(const WindowChange& w, Direction d) {
    if (left_to_others(w, d)) return;
    const Tolerance& was = before_.gauge.tolerance;
    const Tolerance& is = after_.gauge.tolerance;
    ComparisonItem row = item("response", w, "ms", 0);
    row.direction = d;
    const bool same = was.response_from == is.response_from && was.response_to == is.response_to;
    if (!same) row.remark = "the settings allow another response now; that alone does not change a unit";
    if (const PairedChange* const p = paired(w, d))
      paired_number(std::move(row), response_by_settings(p->response), response_that_matters_ms(),
                    row_of_pairs(*p));
    else
      number(std::move(row), response_of(old_row(w, d)), response_of(new_row(w, d)),
             response_that_matters_ms());
  }

  // Lags are from the fastest response that is allowed, in each run by its own settings.
  Measured response_by_settings(Measured lag) const {
    lag.value += to_ms(after_.gauge.tolerance.response_from - before_.gauge.tolerance.response_from);
    return lag;
  }

  // The response is the unit's, so that its boundaries show it together, and better.
  void responses_together() {
    if (paired_.response_both_ways.is_there()) {
      ComparisonItem row;
      row.what = "response";
      row.boundary = all_boundaries;
      row.unit = "ms";
      row.expected_change = 0;
      RowBasis basis;
      basis.only_rate_rpm_per_s = paired_.only_rate_rpm_per_s;
      basis.pairs = 1;
      words_.together.fill(comparison_.items.size());
      paired_number(std::move(row), response_by_settings(paired_.response_both_ways),
                    response_that_matters_ms(), basis);
    }
    for (const Direction d : {Direction::rising, Direction::falling}) {
      const std::size_t index = d == Direction::falling ? 1 : 0;
      if (!paired_.response[index].is_there()) continue;
      ComparisonItem row;
      row.what = "response";
      row.boundary = all_boundaries;
      row.direction = d;
      row.unit = "ms";
      row.expected_change = 0;
      words_.together[index] = comparison_.items.size();
      paired_number(std::move(row), response_by_settings(paired_.response[index]),
                    response_that_matters_ms());
    }
  }

  void pressed() {
    constexpr double usual_ms = 10;
    const double wait_ms = std::max(usual_ms, 1e3 * std::max(updates_.period_s[0], updates_.period_s[1]));
    for (PressedPair& pair : pressed_pairs(before_, after_, wait_ms))
      if (pair.numbers)
        number(std::move(pair.item), pair.was, pair.is, pair.tells);
      else
        comparison_.items.push_back(std::move(pair.item));
  }

  // No setting says how often a unit renews its lamps; that it changed is no pass all the same.
  void update_period() {
    const auto& [before_s, after_s] = updates_.period_s;
    ComparisonItem row;
    row.what = "update period";
    row.boundary = all_boundaries;
    row.unit = "ms";
    row.expected_change = 0;
    row.observed_change = (after_s - before_s) * 1e3;
    row.remark = "the unit renewed its lamps every " + decimal(before_s * 1e3, 1) +
                 " ms in the old run and every " + decimal(after_s * 1e3, 1) +
                 " ms in the new one; find out whether its program was changed";
    comparison_.items.push_back(std::move(row));
  }

  void new_boundary(const WindowChange& w) {
    for (const Direction d : {Direction::rising, Direction::falling}) {
      ComparisonItem row = item("threshold", w, "rpm", not_measured);
      row.direction = d;
      const BoundaryResult* const found = new_row(w, d);
      row.remark = "new in the settings; judged by its own setting, " +
                   decimal(d == Direction::rising ? w.rising_rpm.after : w.falling_rpm.after, 1) + " rpm";
      if (found != nullptr && std::isfinite(found->threshold_rpm)) {
        row.uncertainty = found->expanded_uncertainty_rpm;
        row.word = found->verdict == Verdict::pass   ? ChangeWord::as_intended
                   : found->verdict == Verdict::fail ? ChangeWord::unintended
                                                     : ChangeWord::cannot_tell;
      } else if (missed(w.name)) {
        row.word = ChangeWord::missing;
      }
      comparison_.items.push_back(std::move(row));
    }
  }

  bool missed(const std::string& boundary) const {
    return std::any_of(after_.result.findings.begin(), after_.result.findings.end(), [&](const Finding& f) {
      return f.kind == FindingKind::missing_transition && f.window == boundary;
    });
  }

  void blinks(const WindowChange& w) {
    const auto setting = [](const Gauge& gauge, double Blink::*part) {
      return gauge.blink ? (*gauge.blink).*part : not_measured;
    };
    const Channels both = blinking_in_both(w);
    for (Channels left = both; left != 0; left &= left - 1) {
      const std::string lamp = after_.gauge.channel_name(static_cast<std::size_t>(std::countr_zero(left)));
      if (unwired_.contains(lamp)) continue;
      const MeasuredBlink was = blink_of(before_, old_name(w), lamp);
      const MeasuredBlink is = blink_of(after_, w.name, lamp);
      const Tolerance& t = after_.gauge.tolerance;
      number(item("blink rate, " + lamp, w, "Hz",
                  setting(after_.gauge, &Blink::hz) - setting(before_.gauge, &Blink::hz)),
             was.hz, is.hz, t.blink_hz);
      number(item("blink duty, " + lamp, w, "",
                  setting(after_.gauge, &Blink::duty) - setting(before_.gauge, &Blink::duty)),
             was.duty, is.duty, t.blink_duty);
    }
  }

  static MeasuredBlink blink_of(const ComparedRun& run, const std::string& window, const std::string& lamp) {
    for (const BlinkResult& b : run.result.blinks)
      if (b.state.empty() && b.window == window && b.lamp == lamp)
        return measured_blink(b, run.gauge.tolerance, run.stamp_s, run.clock_ppm);
    return {};
  }

  // In the new gauge's channels.
  Channels blinking_in_both(const WindowChange& w) const {
    const CueStates was = states_of(before_.gauge, before_.gauge.windows[*w.before].cue);
    Channels both = 0;
    for (Channels left = after_.gauge.windows[*w.after].cue.blinking; left != 0; left &= left - 1) {
      const auto name = after_.gauge.channel_name(static_cast<std::size_t>(std::countr_zero(left)));
      if (const auto state = was.find(name); state != was.end() && state->second == "blinking")
        both |= left & (~left + 1);
    }
    return both;
  }

  void conclude() {
    const auto count = [&](ChangeWord w) {
      return std::count_if(comparison_.items.begin(), comparison_.items.end(),
                           [&](const ComparisonItem& i) { return i.word == w; });
    };
    const bool complete = before_.result.complete && after_.result.complete;
    if (!before_.result.complete) comparison_.notes.push_back("The old run is not complete.");
    if (!after_.result.complete) comparison_.notes.push_back("The new run is not complete.");
    if (after_.result.findings_left_out > 0)
      comparison_.notes.push_back("The new run had more findings than were kept.");
    add_notes(comparison_, words_, updates_, tolerance_rpm());
    if (was_pressed(before_.result) || was_pressed(after_.result))
      comparison_.notes.push_back(
          std::string(
              "Boundaries after a press or a loss of power are not compared; each run judges them. ") +
          (passes_when_pressed(after_.result) ? "In the new run all of it passes."
                                              : "In the new run not all of it passes: see its report."));
    for (const std::string& lamp : unwired_)
      comparison_.notes.push_back("Not wired in one of the runs, so not compared: " + lamp + ".");
    if (count(ChangeWord::unintended) + count(ChangeWord::missing) > 0)
      comparison_.verdict = Verdict::fail;
    else if (complete && !comparison_.items.empty() && count(ChangeWord::cannot_tell) == 0 &&
             passes_when_pressed(after_.result))
      comparison_.verdict = Verdict::pass;
  }

  const ComparedRun& before_;
  const ComparedRun& after_;
  SettingsChange change_;
  Comparison comparison_;
  std::set<std::string> unwired_;
  PairedChanges paired_;
  RowsToWord words_;
  UpdatesOfRuns updates_;
  bool updates_changed_ = false;
  CueRows cues_;
};

}  // namespace

std::string_view word(ChangeWord w) {
  switch (w) {
    case ChangeWord::as_intended: return "as-intended";
    case ChangeWord::unintended: return "unintended";
    case ChangeWord::missing: return "missing";
    case ChangeWord::cannot_tell: return "cannot-tell";
  }
  return "cannot-tell";
}

Comparison compare(const ComparedRun& before, const ComparedRun& after) {
  return Comparing(before, after).run();
}

}  // namespace tachproof
