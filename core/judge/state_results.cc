#include "core/judge/state_results.h"

#include <algorithm>
#include <cmath>
#include <iterator>

#include "core/base/statistics.h"
#include "core/base/text.h"
#include "core/judge/press_rows.h"

namespace tachproof {
namespace {

template <class Row>
void append(std::vector<Row>& all, std::vector<Row>& more, const std::string& state) {
  for (Row& row : more) {
    row.state = state;
    all.push_back(std::move(row));
  }
}

void add_new(std::vector<std::string>& all, const std::vector<std::string>& more) {
  for (const std::string& one : more)
    if (std::find(all.begin(), all.end(), one) == all.end()) all.push_back(one);
}

// A boundary that no take has moved is where it was set, and has its own tolerance only.
void hold_to_its_own(const Gauge& gauge, const StateSpell& spell, RunResult& result) {
  if (spell.state.doubt_rpm == 0) return;
  for (BoundaryResult& row : result.boundaries) {
    const auto window = std::find_if(gauge.windows.begin(), gauge.windows.end(),
                                     [&](const Window& w) { return w.name == row.boundary; });
    if (window == gauge.windows.end() || std::isnan(row.threshold_rpm)) continue;
    const std::string& anchor = window->anchor;
    const bool taken =
        !anchor.empty() && std::any_of(gauge.buttons.begin(), gauge.buttons.end(), [&](const Button& button) {
          const auto* take = std::get_if<TakeRpm>(&button.does);
          return take != nullptr && gauge.windows[take->boundary].anchor == anchor;
        });
    if (taken || row.verdict != Verdict::pass) continue;
    const double t = gauge.tolerance.rpm;
    row.verdict = decide(row.threshold_rpm - row.nominal_rpm, row.expanded_uncertainty_rpm, -t, t);
    if (row.verdict == Verdict::undecided)
      row.remark = "too near the limit to decide: cross it more often, or more slowly";
  }
}

// What one state has proven, another in which it is set the same need not prove again.
template <class Row, class Same>
void ask_once(const std::vector<Row>& before, std::vector<Row>& rows, Same same) {
  for (Row& row : rows)
    if (row.verdict == Verdict::undecided &&
        std::any_of(before.begin(), before.end(), [&](const Row& earlier) {
          return earlier.verdict == Verdict::pass && same(earlier, row);
        }))
      row.asked = false;
}

Verdict verdict_of_rows(const RunResult& result) {
  Verdict verdict = Verdict::pass;
  for (const Finding& finding : result.findings) verdict = worst(verdict, verdict_of(finding.kind));
  if (result.findings_left_out > 0) verdict = worst(verdict, Verdict::undecided);
  const auto take = [&](const auto& rows) {
    for (const auto& row : rows)
      if (row.asked || row.verdict == Verdict::fail) verdict = worst(verdict, row.verdict);
  };
  take(result.transitions);
  take(result.boundaries);
  take(result.deadbands);
  take(result.responses);
  for (const BlinkResult& row : result.blinks) verdict = worst(verdict, row.verdict);
  return verdict;
}

class Joining {
 public:
  Joining(const Gauge& gauge, const JudgeSetup& setup, std::deque<StateSpell>& spells)
      : gauge_(gauge), setup_(setup), spells_(spells) {}

  RunResult all(Nanos until, bool complete) {
    out_ = std::move(*spells_.front().result);
    if (spells_.size() == 1) return std::move(out_);
    verdict_ = out_.verdict;
    for (std::size_t i = 1; i < spells_.size(); ++i)
      if (spells_[i].result)
        for (const LevelResult& level : spells_[i].result->levels) dims_visibly_ |= level.pwm_hz > 0;
    for (const LevelResult& level : out_.levels) dims_visibly_ |= level.pwm_hz > 0;
    sound_ = !unit_fails(out_);
    for (std::size_t i = 1; i < spells_.size(); ++i) add(spells_[i]);
    std::stable_sort(out_.findings.begin(), out_.findings.end(),
                     [](const Finding& a, const Finding& b) { return a.at < b.at; });
    // A colour that no lamp has is wrong whatever was missed; all else wants the whole run.
    const bool decided =
        complete || std::any_of(out_.findings.begin(), out_.findings.end(),
                                [](const Finding& f) { return f.kind == FindingKind::unknown_colour; });
    out_.verdict = decided ? verdict_ : Verdict::undecided;
    out_.complete = complete;
    out_.duration = until;
    return std::move(out_);
  }

 private:
  void add(StateSpell& spell) {
    std::vector<Finding> findings;
    bool explained = false;
    if (!spell.state.unknown.empty())
      findings.push_back({FindingKind::lost_evidence, spell.from, "", "",
                          spell.state.unknown + ": press further inside or outside the range"});
    const bool judged = spell.seen && spell.result;
    if (judged) hold_to_its_own(gauge_, spell, *spell.result);
    switch (spell.what) {
      case StateSpell::What::start: break;
      case StateSpell::What::take: explained = add_take(spell, judged, findings); break;
      case StateSpell::What::dim: explained = add_dim(spell, judged, findings); break;
      case StateSpell::What::power: explained = add_power(spell, judged, findings); break;
    }
    for (Finding& finding : findings) {
      verdict_ = worst(verdict_, verdict_of(finding.kind));
      out_.findings.push_back(std::move(finding));
    }
    const bool failed = judged && unit_fails(*spell.result);
    if (judged) add_rows(spell, explained);
    sound_ = sound_ && (!failed || explained);
  }

  bool add_take(StateSpell& spell, bool judged, std::vector<Finding>& findings) {
    PressResult row = spell.press;
    bool explained = false;
    if (judged) {
      const StateSeen seen{&*spell.result, spell.other_result ? &*spell.other_result : nullptr, sound_};
      explained = judge_take(spell.state, spell.moved, seen, row.rpm, row, findings);
      took_otherwise_ = explained;
    } else if (row.remark.empty()) {
      row.remark = spell.state.unknown.empty()
                       ? "the run went on, or ended, before the unit had time to answer"
                       : spell.state.unknown;
    }
    verdict_ = worst(verdict_, row.verdict);
    out_.presses.push_back(std::move(row));
    return explained;
  }

  bool add_dim(StateSpell& spell, bool judged, std::vector<Finding>& findings) {
    DimResult row = spell.dim;
    const bool still_otherwise = took_otherwise_ && judged && fits_otherwise(spell);
    if (judged)
      judge_dim(gauge_, still_otherwise ? *spell.other_result : *spell.result, spell.lit_long, dims_visibly_,
                setup_.bench.watcher.resolution, row, findings);
    else
      row.remark = "the run went on, or ended, before the unit had time to answer";
    verdict_ = worst(verdict_, row.verdict);
    out_.dims.push_back(std::move(row));
    return still_otherwise;
  }

  bool add_power(StateSpell& spell, bool judged, std::vector<Finding>& findings) {
    PowerResult row = spell.woke;
    awake_ = 0;
    for (Finding& finding : spell.power_findings) {
      if (finding.kind == FindingKind::slow_boot && gauge_.power_up)
        awake_ = answered_by(gauge_, finding.at) +
                 (gauge_.power_up->greets ? gauge_.power_up->greets->lasts * 11 / 10 : 0);
      findings.push_back(std::move(finding));
    }
    bool explained = false;
    const bool two = judged && spell.other_result;
    const bool kept = spell.state.doubt_rpm > 0;
    if (took_otherwise_ && judged && fits_otherwise(spell)) {
      explained = true;  // by what it did at the press before
    } else if (judged && fits_otherwise(spell)) {
      explained = true;
      row.verdict = Verdict::fail;
      findings.push_back(
          {kept ? FindingKind::settings_lost : FindingKind::settings_kept, row.back_at, "", "",
           "the supply was cut at " + say_time(row.at) +
               (kept ? ": the unit forgot the rpm that it had taken and went back to its settings; it has "
                       "to keep it"
                     : ": the unit kept the rpm that it had taken; it has to go back to its settings")});
    } else if (judged && sound_ && row.verdict != Verdict::fail && moves_wrongly(*spell.result)) {
      row.verdict = Verdict::fail;
      findings.push_back(
          {FindingKind::settings_lost, row.back_at, "", "",
           "after the supply was cut at " + say_time(row.at) +
               " the unit's boundaries are no longer where they were, nor where they are set"});
    } else if (two && row.verdict == Verdict::pass && !measured_any(*spell.result, gauge_, spell.moved)) {
      row.verdict = Verdict::undecided;
      row.remark =
          "nobody can say what the unit kept: after the supply came back, no boundary was measured that a "
          "button "
          "had moved. Cross one slowly, both ways";
    }
    verdict_ = worst(verdict_, row.verdict);
    out_.powers.push_back(std::move(row));
    return explained;
  }

  // What was seen fits the unit that did the other thing, and not the one that did as it should.
  static bool fits_otherwise(const StateSpell& spell) {
    return spell.other_result && unit_fails(*spell.result) && !unit_fails(*spell.other_result);
  }

  void add_rows(StateSpell& spell, bool explained) {
    RunResult& more = *spell.result;
    const std::string& state = spell.state.name;
    const auto same_threshold = [](const auto& a, const auto& b) {
      return a.boundary == b.boundary && a.direction == b.direction && a.nominal_rpm == b.nominal_rpm;
    };
    ask_once(out_.boundaries, more.boundaries, same_threshold);
    ask_once(out_.transitions, more.transitions, same_threshold);
    ask_once(out_.deadbands, more.deadbands, [](const auto& a, const auto& b) {
      return a.boundary == b.boundary && a.nominal_rpm == b.nominal_rpm;
    });
    ask_once(out_.responses, more.responses, [](const auto& a, const auto& b) {
      return a.boundary == b.boundary && a.direction == b.direction;
    });
    const Verdict of_rows = verdict_of_rows(more);
    append(out_.transitions, more.transitions, state);
    append(out_.boundaries, more.boundaries, state);
    append(out_.deadbands, more.deadbands, state);
    append(out_.responses, more.responses, state);
    append(out_.blinks, more.blinks, state);
    for (Finding& finding : more.findings) {
      // A unit that woke late was still greeting.
      const bool greeting = spell.what == StateSpell::What::power && finding.at < awake_;
      if ((explained || greeting) && verdict_of(finding.kind) == Verdict::fail) continue;
      finding.message += " (" + state + ")";
      finding.at = std::max(finding.at, spell.from);  // what speaks of the whole state begins with it
      out_.findings.push_back(std::move(finding));
    }
    if (!explained) out_.findings_left_out += more.findings_left_out;
    add_new(out_.notes, more.notes);
    // Visited in any state is visited.
    std::erase_if(out_.not_visited, [&](const std::string& name) {
      return std::find(more.not_visited.begin(), more.not_visited.end(), name) == more.not_visited.end();
    });
    out_.evidence.lamp_changes += more.evidence.lamp_changes;
    if (std::isnan(out_.scatter.rpm) || more.scatter.dof > out_.scatter.dof) out_.scatter = more.scatter;
    verdict_ = worst(verdict_, explained ? worst(of_rows, Verdict::fail) : of_rows);
  }

  const Gauge& gauge_;
  const JudgeSetup& setup_;
  std::deque<StateSpell>& spells_;
  RunResult out_;
  Verdict verdict_ = Verdict::pass;
  bool dims_visibly_ = false;
  Nanos awake_ = 0;              // of a unit that woke late
  bool sound_ = true;            // nothing was wrong so far
  bool took_otherwise_ = false;  // at the last take
};

}  // namespace

RunResult joined_results(const Gauge& gauge, const JudgeSetup& setup, std::deque<StateSpell>& spells,
                         Nanos until, bool complete) {
  return Joining(gauge, setup, spells).all(until, complete);
}

}  // namespace tachproof
