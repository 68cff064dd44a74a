#include "core/cause/diagnosis.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>
#include <set>

#include "core/cause/button_causes.h"
#include "core/cause/candidates.h"
#include "core/cause/cause_words.h"
#include "core/cause/likelihood.h"
#include "core/cause/missing.h"
#include "core/cause/size_fit.h"
#include "core/cause/special.h"

namespace tachproof {
namespace {

using Kind = Fault::Kind;

constexpr std::size_t singles_judged = 18, seconds_judged = 9, firsts_kept = 5, special_firsts_kept = 4,
                      loose_firsts_kept = 3;
constexpr std::size_t most_listed = 5;
// Chi squared: what fits so much worse than the best is no cause.
constexpr double clearly_worse = 12;

class Detective {
 public:
  Detective(const Gauge& gauge, const std::vector<JudgedRun>& runs, const std::vector<OtherGauge>& others)
      : court_(gauge, runs), others_(others) {}

  Diagnosis solve() {
    files();
    singles();
    if (whole().empty()) specials();
    if (nothing_moved()) specials();
    if (all_may_be_anything()) pairs();
    if (whole().empty()) loose();
    return told();
  }

 private:
  Hypothesis as_set() const {
    Hypothesis none;
    none.gauge = court_.gauge();
    return none;
  }

  void keep(Trial trial) {
    trial.score = unlikeliness(trial, court_.gauge().tolerance);
    trials_.push_back(std::move(trial));
  }

  std::vector<const Trial*> whole() const {
    std::vector<const Trial*> all;
    for (const Trial& trial : trials_)
      if (trial.explains_all()) all.push_back(&trial);
    return all;
  }

  // Without pulses the lamps stay as they are, and so they do where a unit hears but does nothing.
  bool nothing_moved() const {
    const std::vector<const Trial*> all = whole();
    return std::any_of(all.begin(), all.end(),
                       [](const Trial* t) { return t->hypothesis.has(Kind::no_signal); });
  }

  // A unit that reads seldom may always be late, a noisy one both: two causes that say more may be meant.
  bool all_may_be_anything() const {
    const std::vector<const Trial*> all = whole();
    return std::all_of(all.begin(), all.end(), [](const Trial* t) {
      return t->hypothesis.reads_seldom() || t->hypothesis.has(Kind::noisy_reading);
    });
  }

  // ---- other gauge files ---------------------------------------------------------------

  void files() {
    for (const Hypothesis& one : hypotheses_of(court_, others_)) keep(court_.judge(one));
  }

  // ---- one change, and two ---------------------------------------------------------------

  // What a size that was rounded to a setting may fit worse.
  static constexpr double rounded_fit = 6;

  // Judged; and again with its sizes as they were then measured.
  Trial judged(const Hypothesis& hypothesis) {
    Trial best = court_.judge(hypothesis);
    for (int turn = 0; turn < 3 && !court_.tired(); ++turn) {
      const Hypothesis renewed = with_fitted_sizes(court_.gauge(), best);
      if (renewed.faults == best.hypothesis.faults) {
        best.hypothesis.u = renewed.u;
        break;
      }
      Trial next = court_.judge(renewed);
      const bool better =
          next.left < best.left || (next.left == best.left && next.fit <= best.fit + rounded_fit);
      const bool near = better && best.left == next.left && std::abs(next.fit - best.fit) < 0.01;
      if (better) best = std::move(next);
      if (!better || near) break;
    }
    best = with_round_pulses(std::move(best));
    Hypothesis& h = best.hypothesis;
    for (std::size_t i = 0; i < h.faults.size(); ++i)
      if (!std::isfinite(h.u[i])) h.u[i] = rough_u(court_.gauge(), h, i, court_.roads());
    return best;
  }

  // Pulses per revolution are whole or half numbers: that one is taken where it explains as much. Slow
  // ramps that are elsewhere leave the number less well known than it looks.
  Trial with_round_pulses(Trial trial) {
    Hypothesis round = trial.hypothesis;
    for (std::size_t i = 0; i < round.faults.size(); ++i) {
      Fault& fault = round.faults[i];
      if (fault.kind == Kind::wrong_pulses_per_rev) {
        const double near = std::max(0.5, std::round(2 * *fault.size) / 2),
                     off = std::abs(near - *fault.size);
        if (off > 0.02 * near || near == court_.gauge().pulses_per_rev) return trial;
        if (std::isfinite(round.u[i])) round.u[i] = std::max(round.u[i], off);
        fault.size = near;
      }
    }
    if (round.faults == trial.hypothesis.faults || court_.tired()) return trial;
    round.gauge = acting(court_.gauge(), round.faults);
    Trial next = court_.judge(round);
    return next.left <= trial.left && next.wrong_s <= trial.wrong_s + 0.2 ? next : trial;
  }

  std::vector<RunResult> results() const {
    std::vector<RunResult> all;
    for (const JudgedRun& run : court_.runs()) all.push_back(run.result);
    return all;
  }

  void singles() {
    for (const Fault& fault : candidates(court_, as_set(), results(), singles_judged)) {
      if (court_.tired()) return;
      keep(judged(with(as_set(), fault)));
    }
  }

  // Of those that let the lamps change later, the smallest that does is enough.
  void specials() {
    for (const Hypothesis& hypothesis : special_hypotheses(court_, as_set(), results()))
      if (!court_.tired()) keep(court_.judge(hypothesis));
  }
  void loose(const Hypothesis& known, const std::vector<RunResult>& results) {
    for (const Hypothesis& hypothesis : loose_hypotheses(court_, known, results)) {
      if (court_.tired()) return;
      keep(court_.judge(hypothesis));
      if (trials_.back().explains_all()) return;
    }
  }

  // The most promising single changes first: what they leave, and for how long the lamps stay wrong.
  std::vector<std::size_t> firsts() const {
    std::vector<std::size_t> order;
    for (std::size_t i = 0; i < trials_.size(); ++i)
      if (trials_[i].hypothesis.plain() && trials_[i].left < court_.findings() &&
          is_change_of_settings(trials_[i].hypothesis.faults.front().kind))
        order.push_back(i);
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t a, std::size_t b) { return trials_[a].left < trials_[b].left; });
    std::vector<std::size_t> by_time = order;
    std::stable_sort(by_time.begin(), by_time.end(),
                     [&](std::size_t a, std::size_t b) { return trials_[a].wrong_s < trials_[b].wrong_s; });
    // Some of both orders, and none twice.
    std::vector<std::size_t> kept;
    for (std::size_t i = 0; i < order.size() && kept.size() < firsts_kept; ++i)
      for (const std::size_t one : {order[i], by_time[i]})
        if (std::find(kept.begin(), kept.end(), one) == kept.end() && kept.size() < firsts_kept)
          kept.push_back(one);
    return kept;
  }

  // Of what is no change of settings, the best of each kind and lamp.
  std::vector<std::size_t> special_firsts() const {
    std::vector<std::size_t> order, kept;
    for (std::size_t i = 0; i < trials_.size(); ++i)
      if (!trials_[i].hypothesis.plain()) order.push_back(i);
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t a, std::size_t b) { return trials_[a].left < trials_[b].left; });
    for (const std::size_t i : order) {
      const auto same = [&](std::size_t j) {
        return same_place(trials_[i].hypothesis.faults.front(), trials_[j].hypothesis.faults.front());
      };
      if (kept.size() < special_firsts_kept && std::none_of(kept.begin(), kept.end(), same))
        kept.push_back(i);
    }
    return kept;
  }

  void pairs() {
    std::vector<std::size_t> all = firsts();
    const std::vector<std::size_t> special = special_firsts();
    all.insert(all.end(), special.begin(), special.end());
    std::vector<Kind> alone;  // that explain everything: what does beside them?
    for (const Trial* trial : whole()) alone.push_back(trial->hypothesis.faults.front().kind);
    const auto is_alone = [&](Kind kind) {
      return std::find(alone.begin(), alone.end(), kind) != alone.end();
    };
    for (const std::size_t i : all) {
      const Trial first = trials_[i];
      if (is_alone(known_kind(first))) continue;
      const Hypothesis& known = first.hypothesis;
      if (is_shortened(known.gauge)) continue;
      for (const Fault& fault : candidates(court_, known, first.results, seconds_judged)) {
        if (court_.tired()) return;
        if (!same_place(fault, known.faults.front())) keep(judged(with(known, fault)));
      }
      for (const Hypothesis& hypothesis : special_hypotheses(court_, known, first.results)) {
        if (court_.tired()) return;
        if (!is_alone(hypothesis.faults.back().kind)) keep(judged(hypothesis));
      }
    }
  }

  static Kind known_kind(const Trial& trial) { return trial.hypothesis.faults.front().kind; }

  // Alone, and with the most promising change of settings.
  void loose() {
    loose(as_set(), results());
    if (!whole().empty()) return;
    std::vector<std::size_t> all = firsts();
    if (all.size() > loose_firsts_kept) all.resize(loose_firsts_kept);
    for (const std::size_t i : all) {
      const Trial first = trials_[i];
      loose(first.hypothesis, first.results);
    }
  }

  // Of the same kind, and but for the size and the window of a spell the same.
  static bool same_place(Fault a, const Fault& b) {
    a.size = b.size;
    if (a.kind == Kind::freeze || a.kind == Kind::reset) a.window = b.window;
    return a == b;
  }

  // Windows are gone, so that places no longer mean what they did.
  bool is_shortened(const Gauge& gauge) const {
    return gauge.windows.size() + 1 < court_.gauge().windows.size();
  }

  // ---- the end -----------------------------------------------------------------------------

  Diagnosis told() {
    Diagnosis diagnosis;
    std::vector<const Trial*> all = whole();
    const bool solved = !all.empty();
    if (!solved) nearest(all);
    if (solved) leave_smallest(all);
    if (solved) leave_spells(all);
    double least_wrong = std::numeric_limits<double>::infinity();
    for (const Trial* trial : all) least_wrong = std::min(least_wrong, trial->wrong_s);
    const auto rank = [&](const Trial* t) { return t->score + 10 * std::min(5.0, t->wrong_s - least_wrong); };
    std::stable_sort(all.begin(), all.end(), [&](const Trial* a, const Trial* b) {
      if (!solved && a->left != b->left) return a->left < b->left;
      return rank(a) < rank(b);
    });
    const double apart = std::max(court_.gauge().tolerance.rpm / 4, 0.6);
    for (const Trial* trial : all) {
      if (diagnosis.causes.list.size() >= (solved ? most_listed : 1)) break;
      if (!solved && trial->left >= court_.findings()) break;
      // Where no window was ever left, nothing tells whether pulses or readings were missing.
      const bool unheard = trial->hypothesis.reads_seldom() && trial->hypothesis.gaps <= 1 && nothing_moved();
      if (solved && !unheard && rank(trial) > rank(all.front()) + clearly_worse) continue;
      const bool known =
          std::any_of(diagnosis.hypotheses.begin(), diagnosis.hypotheses.end(),
                      [&](const Hypothesis& h) { return says_the_same(h, trial->hypothesis, apart); });
      if (known) continue;
      diagnosis.causes.list.push_back(cause_of(court_.gauge(), *trial, court_.findings()));
      if (trial->pressed > 0)
        add_button_causes(court_.gauge(), court_.runs(), *trial, diagnosis.causes.list.back());
      diagnosis.hypotheses.push_back(trial->hypothesis);
    }
    diagnosis.causes.told_apart = diagnosis.causes.list.size() <= 1 || !solved;
    if (!solved) diagnosis.causes.none = nothing(diagnosis.causes);
    diagnosis.judged = court_.judged();
    return diagnosis;
  }

  // What lets the lamps change at other instants only where nothing else comes near.
  void nearest(std::vector<const Trial*>& all) const {
    const auto loose = [](const Trial& trial) { return lets_pass(trial.hypothesis); };
    std::uint64_t least = court_.findings();
    for (const Trial& trial : trials_)
      if (!loose(trial)) least = std::min(least, trial.left);
    for (const Trial& trial : trials_)
      if (!loose(trial) || 2 * trial.left < least) all.push_back(&trial);
  }

  // Where one of its faults alone explains everything, a pair is no smallest change.
  static void leave_smallest(std::vector<const Trial*>& all) {
    const std::vector<const Trial*> before = all;
    std::erase_if(all, [&](const Trial* trial) {
      const auto& faults = trial->hypothesis.faults;
      return faults.size() > 1 && std::any_of(before.begin(), before.end(), [&](const Trial* less) {
               return less->hypothesis.faults.size() == 1 &&
                      std::any_of(faults.begin(), faults.end(), [&](const Fault& fault) {
                        return same_place(fault, less->hypothesis.faults.front());
                      });
             });
    });
  }

  // A unit that skips updates does so more than once: what it did once is a spell, where that explains
  // everything.
  static void leave_spells(std::vector<const Trial*>& all) {
    const bool spell = std::any_of(all.begin(), all.end(),
                                   [](const Trial* trial) { return trial->hypothesis.has(Kind::freeze); });
    if (!spell) return;
    std::erase_if(all, [](const Trial* trial) {
      return trial->hypothesis.reads_seldom() && trial->hypothesis.gaps <= 1;
    });
  }

  // The same changes of settings, with sizes that may be one.
  static bool differs_in_size(const Hypothesis& a, const Hypothesis& b) {
    if (a.faults.size() != b.faults.size()) return false;
    for (std::size_t i = 0; i < a.faults.size(); ++i)
      if (!same_place(a.faults[i], b.faults[i]) ||
          (is_change_of_settings(a.faults[i].kind) &&
           std::abs(a.faults[i].size.value_or(0) - b.faults[i].size.value_or(0)) > a.u[i] + b.u[i]))
        return false;
    return true;
  }

  static bool says_the_same(const Hypothesis& a, const Hypothesis& b, double apart) {
    if (differs_in_size(a, b)) return true;
    if (a.plain() && b.plain()) return same_behaviour(a.gauge, b.gauge, apart);
    const auto specials = [](const Hypothesis& h) {
      std::multiset<Kind> kinds;
      for (const Fault& fault : h.faults)
        if (!is_change_of_settings(fault.kind) || fault.kind == Kind::slow_filter) kinds.insert(fault.kind);
      return kinds;
    };
    return specials(a) == specials(b) && a.ignored == b.ignored && same_behaviour(a.gauge, b.gauge, apart);
  }

  std::string nothing(const Causes& causes) const {
    const std::uint64_t of = court_.findings();
    const std::string all = of == 1 ? "the finding" : "all " + std::to_string(of) + " findings";
    std::string text =
        "No single change of settings, unit or wiring explains " + all + ", and no two that were tried do";
    if (!causes.list.empty())
      text += "; the nearest explains " + std::to_string(causes.list.front().explains) + " of " +
              std::to_string(of);
    return text +
           ". Look at the report's close-ups, and try another unit of the same settings on this bench.";
  }

  Court court_;
  const std::vector<OtherGauge>& others_;
  std::vector<Trial> trials_;
};

bool any_failed(const std::vector<JudgedRun>& runs) {
  return std::any_of(runs.begin(), runs.end(), [](const JudgedRun& run) {
    return run.result.verdict == Verdict::fail && faults_found(run.result) > 0;
  });
}

bool can_be_judged_again(const std::vector<JudgedRun>& runs) {
  return std::all_of(runs.begin(), runs.end(), [](const JudgedRun& r) { return r.evidence.whole(); });
}

}  // namespace

std::vector<std::size_t> telling_gauges(const Gauge& gauge, const std::vector<JudgedRun>& runs,
                                        const std::vector<OtherGauge>& others) {
  if (others.empty() || !any_failed(runs) || !can_be_judged_again(runs)) return {};
  Court court(gauge, runs);
  return telling_gauges(court, others);
}

Diagnosis diagnose(const Gauge& gauge, const std::vector<JudgedRun>& runs,
                   const std::vector<OtherGauge>& others) {
  const bool any = any_failed(runs);
  if (any && runs.size() == 1)
    if (std::vector<Cause> of_buttons = button_causes(gauge, runs.front()); !of_buttons.empty()) {
      Diagnosis found;
      found.hypotheses.resize(of_buttons.size());
      found.causes.list = std::move(of_buttons);
      return found;
    }
  if (any && can_be_judged_again(runs)) return Detective(gauge, runs, others).solve();
  Diagnosis none;
  for (const JudgedRun& run : runs)
    if (!any && none.causes.missing.empty()) none.causes.missing = missing_evidence(gauge, run.result);
  if (any) none.causes.none = "The run is too long for its causes to be looked for: play a shorter scenario.";
  return none;
}

}  // namespace tachproof
