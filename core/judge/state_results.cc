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

void call_rows(RunResult& result, const std::string& state) {
  const auto call = [&](auto& rows) {
    for (auto& row : rows) row.state = state;
  };
  call(result.transitions);
  call(result.boundaries);
  call(result.deadbands);
  call(result.responses);
  call(result.blinks);
}

void add_new(std::vector<std::string>& all, const std::vector<std::string>& more) {
  for (const std::string& one : more)
    if (std::find(all.begin(), all.end(), one) == all.end()) all.push_back(one);
}

// A boundary that no take has moved is where it was set, and has its own tolerance only.
void hold_to_its_own(const Gauge& gauge, const UnitState& state, RunResult& result) {
  if (state.doubt_rpm == 0) return;
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
    out_ = std::move(*spells_.front().way().result);
    call_rows(out_, spells_.front().way().unit.now().name);
    if (spells_.size() == 1 && std::isnan(spells_.front().fed_v)) return std::move(out_);
    verdict_ = out_.verdict;
    out_until_ = until;
    out_.states.push_back(state_of(spells_.front()));
    for (std::size_t i = 1; i < spells_.size(); ++i)
      if (const std::optional<RunResult>& result = spells_[i].way().result)
        for (const LevelResult& level : result->levels) dims_visibly_ |= level.pwm_hz > 0;
    for (const LevelResult& level : out_.levels) dims_visibly_ |= level.pwm_hz > 0;
    sound_ = !unit_fails(out_);
    for (std::size_t i = 1; i < spells_.size(); ++i) add(i);
    take_verdicts(out_.presses);
    take_verdicts(out_.dims);
    take_verdicts(out_.powers);
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
  // A press or a loss of power of which the lamps have not shown yet what the unit made of it.
  struct Open {
    std::size_t event = 0, row = 0;
    bool sound_before = true;
  };

  void add(std::size_t event) {
    StateSpell& spell = spells_[event];
    const UnitState& state = spell.way().unit.now();
    std::vector<Finding> findings;
    const bool said = std::any_of(out_.findings.begin(), out_.findings.end(),
                                  [&](const Finding& f) { return f.message == state.unknown; });
    if (!state.unknown.empty() && !said)
      findings.push_back({FindingKind::lost_evidence, spell.from, "", "", state.unknown});
    const bool judged = spell.seen && spell.way().result;
    if (judged) hold_to_its_own(gauge_, state, *spell.way().result);
    switch (spell.what) {
      case StateSpell::What::start: break;
      case StateSpell::What::take: add_take(event, judged); break;
      case StateSpell::What::dim: add_dim(event, judged, findings); break;
      case StateSpell::What::power: add_power(event, findings); break;
      case StateSpell::What::supply: add_supply(event, findings); break;
    }
    if (spell.strange) findings.push_back(*spell.strange);
    out_.states.push_back(state_of(spell));
    if (judged) std::erase_if(open_, [&](const Open& one) { return is_decided(one, event, findings); });
    for (Finding& finding : findings) {
      verdict_ = worst(verdict_, verdict_of(finding.kind));
      out_.findings.push_back(std::move(finding));
    }
    if (!judged) return;
    sound_ = sound_ && !unit_fails(*spell.way().result);
    measured_ = measured_ || measured_any(*spell.way().result, gauge_, spell.moved);
    add_rows(spell);
  }

  StateResult state_of(const StateSpell& spell) const {
    const StateFollower& unit = spell.way().unit;
    StateResult state{unit.now().name, spell.from, std::min(spell.to, out_until_), 0, {}, 1};
    state.fed_v = spell.fed_v;
    state.judged_from = spell.seen ? spell.judged_from : state.to;
    for (const StateFollower::Taken& taken : unit.taken())
      state.taken.push_back({gauge_.windows[taken.boundary].name, taken.rpm, taken.doubt_rpm});
    state.level = level_set(gauge_, spell);
    return state;
  }

  void add_take(std::size_t event, bool judged) {
    const StateSpell& spell = spells_[event];
    PressResult row = spell.press;
    const std::string& unknown = spell.way().unit.now().unknown;
    if (!judged)
      row.remark =
          unknown.empty() ? "the run went on, or ended, before the unit had time to answer" : unknown;
    out_.presses.push_back(std::move(row));
    if (unknown.empty()) open_.push_back({event, out_.presses.size() - 1, sound_});
  }

  void add_dim(std::size_t event, bool judged, std::vector<Finding>& findings) {
    const StateSpell& spell = spells_[event];
    DimResult row = spell.dim;
    const std::string& unknown = spell.way().unit.now().level_unknown;
    if (!unknown.empty())
      row.remark = unknown;
    else if (judged)
      judge_step(gauge_, setup_, spells_, event, dims_visibly_, row, findings);
    else
      row.remark = "the run went on, or ended, before the unit had time to answer";
    out_.dims.push_back(std::move(row));
  }

  void add_power(std::size_t event, std::vector<Finding>& findings) {
    StateSpell& spell = spells_[event];
    awake_ = 0;
    for (Finding& finding : spell.power_findings) {
      if (finding.kind == FindingKind::slow_boot && gauge_.power_up)
        awake_ = answered_by(gauge_, finding.at) +
                 (gauge_.power_up->greets ? gauge_.power_up->greets->lasts * 11 / 10 : 0);
      findings.push_back(std::move(finding));
    }
    out_.powers.push_back(spell.woke);
    if (!spell.cut_doubted) open_.push_back({event, out_.powers.size() - 1, sound_});
  }

  void add_supply(std::size_t event, std::vector<Finding>& findings) {
    StateSpell& spell = spells_[event];
    awake_ = 0;
    for (Finding& finding : spell.power_findings) findings.push_back(std::move(finding));
    for (const PowerResult& row : spell.supply_rows) out_.powers.push_back(row);
    // What the unit has kept over a dip, where it had something to keep.
    const bool dips = spell.fed->dips() && !spell.supply_rows.empty();
    const bool can_lose = std::any_of(spell.ways.begin(), spell.ways.end(),
                                      [&](const JudgedWay& way) { return way.did_otherwise(event); });
    if (dips && can_lose) {
      spell.woke = out_.powers.back();
      open_.push_back({event, out_.powers.size() - 1, sound_});
    }
  }

  // What followed `event` says what the unit made of an earlier one, or of this.
  bool is_decided(const Open& one, std::size_t event, std::vector<Finding>& findings) {
    const StateSpell& spell = spells_[event];
    const JudgedWay& way = spell.way();
    const std::optional<DoneAt>& done = spells_[one.event].done;
    StateSeen seen;
    seen.as_seen = &*way.result;
    seen.did_otherwise = way.did_otherwise(one.event);
    seen.done = done ? &*done : nullptr;
    seen.sound_before = one.sound_before;
    const StateSpell& of = spells_[one.event];
    const bool is_take = of.what == StateSpell::What::take;
    for (const JudgedWay& other : spell.ways) {
      if (!other.result || !differs_by(other, way, one.event)) continue;
      // Which end it was, where both fit, is no doubt that it took the rpm.
      if (is_take && !seen.did_otherwise && !other_end(other, of.press).empty()) continue;
      if (seen.otherwise == nullptr || !unit_fails(*other.result)) seen.otherwise = &*other.result;
    }
    // An event that is past is decided only by what tells it apart.
    const bool past = one.event != event;
    if (past && !seen.did_otherwise && (seen.otherwise == nullptr || unit_fails(*way.result))) return false;
    if (is_take) {
      PressResult& row = out_.presses[one.row];
      seen.boundary = gauge_.windows[taken_for(row.button)].name;
      seen.other_end = other_end(way, row);
      judge_take(way.unit.now().gauge, of.moved, seen, row, findings);
      return row.verdict != Verdict::undecided;
    }
    return is_kept(one, way, seen, past, findings);
  }

  std::size_t taken_for(const std::string& button) const {
    return std::get<TakeRpm>(button_named(gauge_, button)->does).boundary;
  }

  // The boundary that got the rpm of this press in place of the button's own; empty: none did.
  std::string other_end(const UnitWay& way, const PressResult& press) const {
    for (const StateFollower::Taken& taken : way.unit.taken())
      if (taken.button == press.button && taken.rpm == press.rpm && taken.boundary != taken_for(press.button))
        return gauge_.windows[taken.boundary].name;
    return "";
  }

  // The same, but for what was done at this event.
  static bool differs_by(const UnitWay& a, const UnitWay& b, std::size_t event) {
    const auto rest = [&](std::vector<std::size_t> otherwise) {
      std::erase(otherwise, event);
      return otherwise;
    };
    return a.did_otherwise(event) != b.did_otherwise(event) && rest(a.otherwise) == rest(b.otherwise);
  }

  // What a loss of power left of what the unit had taken.
  bool is_kept(const Open& one, const UnitWay& way, const StateSeen& seen, bool past,
               std::vector<Finding>& findings) {
    const StateSpell& spell = spells_[one.event];
    PowerResult& row = out_.powers[one.row];
    if (spell.done && !past) {
      const double off = spell.done->rpm, u = spell.done->expanded_uncertainty_rpm;
      row.verdict = Verdict::fail;
      row.off_rpm = off;
      row.off_uncertainty_rpm = u;
      findings.push_back({FindingKind::settings_lost, row.back_at, "", "",
                          "after the supply was cut at " + say_time(row.at) + " the unit's boundaries are " +
                              decimal(std::abs(off), 1) + " +- " + decimal(u, 1) + " rpm too " +
                              (off > 0 ? "high" : "low") +
                              ": they are neither where they were, nor where they are set"});
      return true;
    }
    if (seen.did_otherwise) {
      const bool kept = !same_boundaries(way.unit.now(), {gauge_, "", 0, 0, ""});
      row.verdict = Verdict::fail;
      row.remark.clear();
      findings.push_back(
          {kept ? FindingKind::settings_kept : FindingKind::settings_lost, row.back_at, "", "",
           (std::isnan(row.lowest_v) ? "the supply was cut at " : "the supply dipped at ") +
               say_time(row.at) +
               (kept ? ": the unit kept the rpm that it had taken; it has to go back to its settings"
                     : ": the unit forgot the rpm that it had taken and went back to its settings; it has "
                       "to keep it")});
      return true;
    }
    if (!past && one.sound_before && measured_ && row.verdict != Verdict::fail &&
        moves_wrongly(*seen.as_seen)) {
      row.verdict = Verdict::fail;
      findings.push_back(
          {FindingKind::settings_lost, row.back_at, "", "",
           "after the supply was cut at " + say_time(row.at) +
               " the unit's boundaries are no longer where they were, nor where they are set"});
      return true;
    }
    const bool told = measured_any(*seen.as_seen, gauge_, spell.moved) && seen.otherwise != nullptr &&
                      unit_fails(*seen.otherwise);
    if (seen.otherwise == nullptr || told) {
      if (past && row.verdict == Verdict::undecided) {
        row.verdict = spell.woke.verdict;
        row.remark = spell.woke.remark;
      }
      return true;
    }
    if (row.verdict != Verdict::pass) return row.verdict == Verdict::fail;
    row.verdict = Verdict::undecided;
    row.remark =
        "nobody can say what the unit kept: after the supply came back, no boundary was measured that a "
        "button "
        "had moved. Cross one slowly, both ways";
    return false;
  }

  // That the unit was fed in this state; NaN: nobody said.
  double fed_in(const std::string& state) const {
    for (const StateResult& one : out_.states)
      if (one.state == state) return one.fed_v;
    return not_measured;
  }

  void add_rows(StateSpell& spell) {
    RunResult& more = *spell.way().result;
    const std::string& state = spell.way().unit.now().name;
    // What was proven at one voltage says nothing of another.
    const auto fed_alike = [&](const auto& row) {
      const double before = fed_in(row.state);
      return before == spell.fed_v || (std::isnan(before) && std::isnan(spell.fed_v));
    };
    const auto same_threshold = [&](const auto& a, const auto& b) {
      return fed_alike(a) && a.boundary == b.boundary && a.direction == b.direction &&
             a.nominal_rpm == b.nominal_rpm;
    };
    ask_once(out_.boundaries, more.boundaries, same_threshold);
    ask_once(out_.transitions, more.transitions, same_threshold);
    ask_once(out_.deadbands, more.deadbands, [&](const auto& a, const auto& b) {
      return fed_alike(a) && a.boundary == b.boundary && a.nominal_rpm == b.nominal_rpm;
    });
    ask_once(out_.responses, more.responses, [&](const auto& a, const auto& b) {
      return fed_alike(a) && a.boundary == b.boundary && a.direction == b.direction;
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
      if (greeting && verdict_of(finding.kind) == Verdict::fail) continue;
      finding.message += " (" + state + ")";
      finding.at = std::max(finding.at, spell.from);  // what speaks of the whole state begins with it
      out_.findings.push_back(std::move(finding));
    }
    out_.findings_left_out += more.findings_left_out;
    add_new(out_.notes, more.notes);
    // Visited in any state is visited.
    std::erase_if(out_.not_visited, [&](const std::string& name) {
      return std::find(more.not_visited.begin(), more.not_visited.end(), name) == more.not_visited.end();
    });
    out_.evidence.lamp_changes += more.evidence.lamp_changes;
    if (std::isnan(out_.scatter.rpm) || more.scatter.dof > out_.scatter.dof) out_.scatter = more.scatter;
    verdict_ = worst(verdict_, of_rows);
  }

  template <class Rows>
  void take_verdicts(const Rows& rows) {
    for (const auto& row : rows) verdict_ = worst(verdict_, row.verdict);
  }

  const Gauge& gauge_;
  const JudgeSetup& setup_;
  std::deque<StateSpell>& spells_;
  RunResult out_;
  Verdict verdict_ = Verdict::pass;
  bool dims_visibly_ = false;
  Nanos out_until_ = 0;
  Nanos awake_ = 0;        // of a unit that woke late
  bool sound_ = true;      // nothing was wrong so far
  bool measured_ = false;  // a boundary that a button moves, so far
  std::vector<Open> open_;
};

}  // namespace

RunResult joined_results(const Gauge& gauge, const JudgeSetup& setup, std::deque<StateSpell>& spells,
                         Nanos until, bool complete) {
  return Joining(gauge, setup, spells).all(until, complete);
}

}  // namespace tachproof
