#include "core/comparison.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <map>
#include <set>

#include "core/compared_numbers.h"
#include "core/cue_states.h"
#include "core/en_score.h"
#include "core/settings_change.h"
#include "core/text.h"

namespace tachproof {
namespace {

class Comparing {
 public:
  Comparing(const ComparedRun& before, const ComparedRun& after)
      : before_(before), after_(after), change_(settings_change(before.gauge, after.gauge)) {
    for (const ComparedRun* run : {&before, &after})
      unwired_.insert(run->result.not_judged.begin(), run->result.not_judged.end());
  }

  Comparison run() {
    for (const WindowChange& w : change_.windows) {
      if (w.before && w.after && *w.before > 0 && *w.after > 0)
        boundary(w);
      else if (w.after && *w.after > 0)
        new_boundary(w);
      else if (w.before && *w.before > 0)
        gone_boundary(w);
      if (w.before && w.after) {
        cue(w);
        blinks(w);
      }
    }
    put_words();
    for (const auto& [index, window] : cues_) doubt_beside_a_wrong_boundary(comparison_.items[index], window);
    for (const auto& [index, removed] : gone_) decide_gone(comparison_.items[index], removed);
    unexplained_findings();
    conclude();
    return std::move(comparison_);
  }

 private:
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
    rows_.emplace(comparison_.items.size(), Row{tells, observed.dof});
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
    const double tolerance_rpm = std::min(before_.gauge.tolerance.rpm, after_.gauge.tolerance.rpm);
    for (const Direction d : {Direction::rising, Direction::falling}) {
      const NumberChange& nominal = d == Direction::rising ? w.rising_rpm : w.falling_rpm;
      ComparisonItem row = item("threshold", w, "rpm", nominal.by());
      row.direction = d;
      number(std::move(row), threshold_of(old_row(w, d)), threshold_of(new_row(w, d)), tolerance_rpm);
    }
    number(item("deadband", w, "rpm", after_.gauge.deadband.rpm - before_.gauge.deadband.rpm),
           deadband_of(old_row(w, Direction::rising), old_row(w, Direction::falling)),
           deadband_of(new_row(w, Direction::rising), new_row(w, Direction::falling)), 2 * tolerance_rpm);
    for (const Direction d : {Direction::rising, Direction::falling}) responses(w, d);
  }

  // The settings say how fast a unit must be, not how fast it is: as long as
  // they stay the same, so should the unit.
  void responses(const WindowChange& w, Direction d) {
    const Tolerance& was = before_.gauge.tolerance;
    const Tolerance& is = after_.gauge.tolerance;
    ComparisonItem row = item("response", w, "ms", 0);
    row.direction = d;
    const bool same = was.response_from == is.response_from && was.response_to == is.response_to;
    if (!same) row.remark = "another response is allowed now, but that alone makes no unit faster or slower";
    number(std::move(row), response_of(old_row(w, d)), response_of(new_row(w, d)),
           std::min(to_ms(was.response_to - was.response_from), to_ms(is.response_to - is.response_from)));
  }

  void new_boundary(const WindowChange& w) {
    for (const Direction d : {Direction::rising, Direction::falling}) {
      ComparisonItem row = item("threshold", w, "rpm", not_measured);
      row.direction = d;
      const BoundaryResult* const found = new_row(w, d);
      row.remark = "a new boundary; judged against its own setting, " +
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

  // Whether it is really gone shows in the cue of the window that took its place.
  void gone_boundary(const WindowChange& w) {
    ComparisonItem row = item("threshold", w, "rpm", not_measured);
    std::size_t place = 0;
    while (place + 1 < after_.gauge.windows.size() &&
           after_.gauge.windows[place + 1].from_rpm <= w.from_rpm.before)
      ++place;
    row.remark = "gone from the settings; the window " + after_.gauge.windows[place].name + " took its place";
    gone_.emplace_back(comparison_.items.size(), after_.gauge.windows[place].name);
    comparison_.items.push_back(std::move(row));
  }

  void decide_gone(ComparisonItem& gone, const std::string& place) const {
    const bool showed_something_else =
        std::any_of(after_.result.findings.begin(), after_.result.findings.end(), [&](const Finding& f) {
          return f.window == place &&
                 (f.kind == FindingKind::wrong_cue || f.kind == FindingKind::extra_transition);
        });
    if (showed_something_else) {
      gone.word = ChangeWord::missing;
      return;
    }
    for (std::size_t i = 0; i < after_.gauge.windows.size(); ++i)
      if (after_.gauge.windows[i].name == place && i < after_.shown.size() && after_.shown[i])
        gone.word =
            *after_.shown[i] == after_.gauge.windows[i].cue ? ChangeWord::as_intended : ChangeWord::missing;
  }

  CueStates wired(CueStates states) const {
    std::erase_if(states, [&](const auto& state) { return unwired_.contains(state.first); });
    return states;
  }

  void cue(const WindowChange& w) {
    const CueStates expected = changes(states_of(before_.gauge, before_.gauge.windows[*w.before].cue),
                                       states_of(after_.gauge, after_.gauge.windows[*w.after].cue));
    ComparisonItem row = item("cue", w, "", static_cast<double>(expected.size()));
    const auto was = *w.before < before_.shown.size() ? before_.shown[*w.before] : std::nullopt;
    const auto is = *w.after < after_.shown.size() ? after_.shown[*w.after] : std::nullopt;
    if (!was || !is) {
      row.remark = std::string("not shown long enough in the ") + (was ? "new" : "old") + " run";
    } else {
      const CueStates observed = wired(changes(states_of(before_.gauge, *was), states_of(after_.gauge, *is)));
      row.observed_change = static_cast<double>(observed.size());
      const bool all_wired = wired(expected).size() == expected.size();
      const bool only_expected = std::all_of(observed.begin(), observed.end(), [&](const auto& state) {
        const auto wanted = expected.find(state.first);
        return wanted != expected.end() && wanted->second == state.second;
      });
      if (!only_expected)
        row.word = ChangeWord::unintended;
      else if (observed.size() < wired(expected).size())
        row.word = ChangeWord::missing;
      else if (all_wired)
        row.word = ChangeWord::as_intended;
      if (row.word == ChangeWord::cannot_tell)
        row.remark = "a lamp that should change is not wired";
      else if (row.word != ChangeWord::as_intended || !expected.empty())
        row.remark = "changed: " + listed(observed) + "; should change: " + listed(expected);
    }
    cues_.emplace_back(comparison_.items.size(), *w.after);
    comparison_.items.push_back(std::move(row));
  }

  // Where a boundary is not where it should be, part of a window shows what its
  // neighbour shows: that says nothing of the window's own cue.
  void doubt_beside_a_wrong_boundary(ComparisonItem& row, std::size_t window) const {
    if (row.word != ChangeWord::unintended && row.word != ChangeWord::missing) return;
    const std::vector<Window>& windows = after_.gauge.windows;
    const auto shows_cue_of = [&](std::size_t other) { return *after_.shown[window] == windows[other].cue; };
    const bool from_below = window > 0 && is_wrong(windows[window].name) && shows_cue_of(window - 1);
    const bool from_above =
        window + 1 < windows.size() && is_wrong(windows[window + 1].name) && shows_cue_of(window + 1);
    if (!from_below && !from_above) return;
    row.word = ChangeWord::cannot_tell;
    row.remark = "the window " + windows[from_below ? window - 1 : window + 1].name +
                 " reaches in here, as the boundary is not where it should be";
  }

  bool is_wrong(const std::string& boundary) const {
    return std::any_of(comparison_.items.begin(), comparison_.items.end(), [&](const ComparisonItem& i) {
      return i.what == "threshold" && i.boundary == boundary &&
             (i.word == ChangeWord::unintended || i.word == ChangeWord::missing);
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
      if (b.window == window && b.lamp == lamp)
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

  void put_words() {
    int count = 0;
    for (const ComparisonItem& i : comparison_.items) count += std::isfinite(i.e_n);
    comparison_.en_limit = en_limit_among(count);
    for (const auto& [index, row] : rows_) {
      ComparisonItem& item = comparison_.items[index];
      if (!std::isfinite(item.e_n)) continue;
      item.en_limit = en_limit_among(count, row.dof);
      put_word(item, row.tells);
    }
  }

  static void put_word(ComparisonItem& i, double tells) {
    const bool moved = std::fabs(i.observed_change) > i.uncertainty;
    const bool should_move = std::fabs(i.expected_change) > 1e-6;
    if (i.e_n > i.en_limit) {
      i.word = should_move && !moved ? ChangeWord::missing : ChangeWord::unintended;
    } else if (i.e_n > 1 && std::fabs(i.observed_change - i.expected_change) + i.uncertainty > tells) {
      i.remark = "beyond 1, but among so many comparisons that may be chance: measure again";
    } else if (should_move && !moved) {
      i.remark = "so small a change is not told from none";
    } else if (!should_move && i.uncertainty > tells) {
      i.remark = "the uncertainty is larger than the tolerance";
    } else {
      i.word = ChangeWord::as_intended;
    }
  }

  // A finding that the old run had not, in a window where no row tells of it.
  void unexplained_findings() {
    const auto key = [](const Finding& f, const std::string& window) {
      return std::pair(f.kind, window.empty() ? f.lamp : window);
    };
    std::set<std::pair<FindingKind, std::string>> known;
    for (const Finding& f : before_.result.findings) known.insert(key(f, name_now(f.window)));
    const std::set<std::string> told = windows_told();
    for (const Finding& f : after_.result.findings) {
      if (verdict_of(f.kind) != Verdict::fail || told.contains(f.window) || judged_by_tolerance(f.kind) ||
          is_measured(f))
        continue;
      if (!known.insert(key(f, f.window)).second) continue;
      ComparisonItem row;
      row.what = "finding: " + std::string(word(f.kind));
      row.boundary = f.window;
      row.expected_change = 0;
      row.observed_change = 1;
      row.word = ChangeWord::unintended;
      row.remark = f.message;
      comparison_.items.push_back(std::move(row));
    }
  }

  // A number that lies near the edge of the tolerance is found in one run and
  // not in the next; whether it moved, its own row tells.
  bool is_measured(const Finding& f) const {
    const bool threshold = f.kind == FindingKind::early || f.kind == FindingKind::late;
    const std::string what = threshold                              ? "threshold"
                             : f.kind == FindingKind::slow_response ? "response"
                             : f.kind == FindingKind::blink_rate    ? "blink rate, " + f.lamp
                                                                    : "";
    bool any = false;
    for (const ComparisonItem& i : comparison_.items) {
      if (i.what != what || i.boundary != f.window) continue;
      if (!std::isfinite(i.e_n)) return false;
      any = true;
    }
    return any;
  }

  std::string name_now(const std::string& window) const {
    for (const WindowChange& w : change_.windows)
      if (w.was_called == window && !window.empty()) return w.name;
    return window;
  }

  // Windows with a row that is unintended or missing, and those next to such a
  // boundary: what is found there has its explanation.
  std::set<std::string> windows_told() const {
    std::set<std::string> told;
    for (const ComparisonItem& i : comparison_.items) {
      if (i.word != ChangeWord::unintended && i.word != ChangeWord::missing) continue;
      told.insert(i.boundary);
      for (std::size_t w = 1; w < after_.gauge.windows.size(); ++w) {
        if (after_.gauge.windows[w].name != i.boundary) continue;
        told.insert(after_.gauge.windows[w - 1].name);
        if (w + 1 < after_.gauge.windows.size()) told.insert(after_.gauge.windows[w + 1].name);
      }
    }
    return told;
  }

  // A narrower tolerance finds what was there before.
  bool judged_by_tolerance(FindingKind kind) const {
    const bool timing = kind == FindingKind::early || kind == FindingKind::late ||
                        kind == FindingKind::slow_response || kind == FindingKind::blink_rate;
    const auto is_tolerance = [](const NamedChange& n) {
      return n.name != "deadband" && n.name != "blink" && n.name != "blink duty";
    };
    return timing && std::any_of(change_.numbers.begin(), change_.numbers.end(), is_tolerance);
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
    for (const std::string& lamp : unwired_)
      comparison_.notes.push_back("Not wired in one of the runs, so not compared: " + lamp + ".");
    if (count(ChangeWord::unintended) + count(ChangeWord::missing) > 0)
      comparison_.verdict = Verdict::fail;
    else if (complete && !comparison_.items.empty() && count(ChangeWord::cannot_tell) == 0)
      comparison_.verdict = Verdict::pass;
  }

  const ComparedRun& before_;
  const ComparedRun& after_;
  SettingsChange change_;
  Comparison comparison_;
  std::set<std::string> unwired_;
  struct Row {
    double tells = 0;  // the largest U that tells something
    double dof = 0;
  };
  std::map<std::size_t, Row> rows_;                        // with numbers, by index
  std::vector<std::pair<std::size_t, std::size_t>> cues_;  // rows, and their windows in the new gauge
  std::vector<std::pair<std::size_t, std::string>> gone_;  // rows, and the windows in their place
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
