#include "bench/run/dwell_run.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <set>

#include "bench/record/folder_format.h"
#include "bench/run/dwell_forecast.h"
#include "bench/run/dwell_play.h"
#include "bench/run/dwell_words.h"
#include "bench/run/own_deadband.h"
#include "core/base/text.h"
#include "core/flicker/flicker_causes.h"
#include "core/plan/hold_evidence.h"
#include "core/plan/survey_view.h"

namespace tachproof {
namespace {

constexpr Nanos waking = unit_wakes;       // a unit gets so long at its first mean,
constexpr Nanos coming = 300 * ns_per_ms;  // and so long at that of another boundary
constexpr double in_hand = 1.2;            // of U, for what the visit after the hold may show
constexpr std::size_t most_not_found = 2;  // boundaries; then the unit does not follow at all
// Of the time in which a unit without flicker passes: the longest look, and how
// long it lasts where nothing speaks for a fail.
constexpr double longest_look = 1.0 / 11, shortest_look = 1.0 / 88;

class DwellRun {
 public:
  DwellRun(const DwellPlan& plan, Rig& rig, RunFolder& folder, const RunHooks& hooks)
      : plan_(plan),
        folder_(folder),
        hooks_(hooks),
        play_(plan.gauge, plan.noise, plan.seed, rig, folder, hooks,
              [this](FindingKind kind, Nanos, std::string message) { found(kind, std::move(message)); }) {}

  RunOutcome run() {
    Playing& playing = play_.playing();
    const bool held_all = playing.done([this] { foresee(); }) && playing.play([this] { hold_all(); });
    const bool written = playing.done([this] { play_.writer().close(play_.seen_until()); });
    RunResult& r = result_;
    r.evidence.lost = playing.lost();
    r.evidence.pulses = play_.pulses();
    r.complete = held_all && written && r.evidence.lost == 0;
    r.duration = play_.seen_until();
    r.evidence.lamp_changes = play_.writer().lamp_events();
    if (!play_.any_lamps())
      found(FindingKind::lost_evidence,
            "the watcher reported no lamp state: check that it is connected, then run again");
    r.verdict = r.flicker.empty() || unheld_ ? Verdict::undecided : Verdict::pass;
    for (const FlickerResult& row : r.flicker) r.verdict = worst(r.verdict, row.verdict);
    for (const Finding& finding : r.findings) r.verdict = worst(r.verdict, verdict_of(finding.kind));
    if (!r.complete) r.verdict = Verdict::undecided;  // whatever was seen until then
    if (r.complete) close();
    std::stable_sort(r.flicker.begin(), r.flicker.end(),
                     [&](const auto& a, const auto& b) { return index_of(a) < index_of(b); });
    return {std::move(result_), play_.writer().trace()};
  }

 private:
  void found(FindingKind kind, std::string message, std::string window = "") {
    result_.findings.push_back({kind, play_.seen_until(), std::move(window), "", std::move(message)});
  }

  void note(std::string text) { result_.notes.push_back(std::move(text)); }

  void foresee() {
    forecast_.emplace(plan_.gauge, plan_.noise, plan_.unit, plan_.dwell, plan_.seed);
    if (hooks_.announce)
      hooks_.announce(announced(plan_.gauge.boundaries(), forecast_->quiet(),
                                longest_dwell(plan_.gauge, plan_.dwell), plan_.to_the_end));
  }

  void hold_all() {
    std::size_t not_found = 0;
    bool over = false;
    for (const std::size_t b : forecast_->order()) {
      if (play_.is_blind(b)) {
        note("boundary " + name(b) +
             " was not held: the wired lamps show no steady difference between its two sides");
        continue;
      }
      if (over || play_.playing().stopped()) {
        not_tried_.insert(b);
        continue;
      }
      const std::size_t before = result_.flicker.size();
      certify(b);
      const bool any = result_.flicker.size() > before;
      if (any) not_found = 0;
      if (plan_.to_the_end) continue;
      if (any && result_.flicker.back().verdict == Verdict::fail) over = true;
      if (!any && ++not_found == most_not_found && result_.flicker.empty()) {
        over = true;
        note(
            "the lamps followed at none of the first boundaries, so no other was held: check the unit's "
            "power, its wiring and the pulses per revolution with a survey");
      }
    }
  }

  // One boundary; adds its row where it could be held.
  void certify(std::size_t b) {
    const DwellForecast::Boundary& foreseen = forecast_->at(b);
    const RateTest test = plan_.dwell.test(foreseen.dispersion);
    OwnDeadband own(plan_.gauge, b, foreseen, test, play_, unit_);
    boundary_ = {b, &foreseen, &test, &own};
    look();
    if (play_.playing().stopped()) return;
    if (boundary_.verdict == Verdict::fail) return add_row();
    const bool is_found = own.find();
    if (play_.playing().stopped()) return;
    if (!is_found) {
      note(nowhere(b, own.visits()));
      unheld_ = true;
      return;
    }
    hold_on();
    own.tell_unit();
    if (boundary_.evidence.minutes() > 0) add_row();
  }

  // Nothing passes by a look: where the unit's own deadband sits is not known yet.
  void look() {
    const RateTest& test = *boundary_.test;
    const double most_min = std::min(longest_look * test.earliest_pass_min(), test.planned_min());
    const double least_min = shortest_look * test.earliest_pass_min();
    stay(boundary_.foreseen->mean_rpm, play_.seen_until() == 0 ? waking : coming, from_seconds(60 * most_min),
         [&] {
           const HoldEvidence& seen = boundary_.evidence;
           if (test.is_over(seen.cycles_to_fail(), seen.minutes(), false)) {
             boundary_.verdict = Verdict::fail;
             return true;
           }
           // At this pace not even the longest look would prove it.
           return seen.minutes() >= least_min &&
                  seen.cycles_to_fail() / seen.minutes() * most_min < test.events_that_fail(most_min);
         });
  }

  // The hold, and the visit that shows that the unit is still there. Each round goes
  // once through the means; a unit that is not clear gets longer ones, and more visits.
  void hold_on() {
    OwnDeadband& own = *boundary_.own;
    Nanos each = 0;
    for (std::size_t next = 0; !play_.playing().stopped() && boundary_.verdict == Verdict::undecided;) {
      const double u = own.u_rpm();
      const std::vector<double> offs = hold_offsets(own.shape(), u);
      const auto means = static_cast<double>(offs.size());
      if (each == 0)
        each = from_seconds(60 * boundary_.test->earliest_pass_min() / own.share_of(in_hand * u) / means) +
               ns_per_ms;
      const Nanos left = plan_.dwell.longest - boundary_.held;
      bool passes = false;
      stay(own.worst_mean() + offs[next % offs.size()], 0, std::min(left, each), [&] {
        if (is_over()) boundary_.verdict = Verdict::fail;
        passes = is_under(is_out_of_time() ? u : in_hand * u);
        return passes || boundary_.verdict == Verdict::fail;
      });
      if (play_.playing().stopped()) return;
      if (passes) {
        if (!still_there()) return;
        // Where it lay far from the others: visits are shorter than one more hold.
        own.visit_until_known();
        if (is_under(own.u_rpm())) boundary_.verdict = Verdict::pass;
      }
      if (is_out_of_time()) return;
      if (++next % offs.size() == 0 && !passes) {
        each *= 2;
        own.visit_more(boundary_.held);
      }
    }
  }

  bool still_there() {
    if (boundary_.own->is_still_there()) return true;
    if (play_.playing().stopped()) return false;
    unheld_ = true;
    note("boundary " + name(boundary_.number) +
         ": after the hold the lamps no longer changed on and off there, so what was counted says nothing: "
         "check the unit's power and its wiring");
    return false;
  }

  bool is_out_of_time() const { return boundary_.held >= plan_.dwell.longest; }

  bool is_over() const {
    const HoldEvidence& seen = boundary_.evidence;
    return boundary_.test->is_over(seen.cycles_to_fail(), seen.minutes(), is_out_of_time());
  }

  double worth_min(double u) const {
    return boundary_.evidence.worth_min(boundary_.own->shape(), boundary_.own->worst_mean(), u);
  }

  bool is_under(double u) const {
    return boundary_.test->is_under(boundary_.evidence.cycles_to_pass(), worth_min(u), is_out_of_time());
  }

  template <class Done>
  void stay(double mean, Nanos before, Nanos longest, const Done& done) {
    if (longest <= 0) return;
    const Nanos held_before = boundary_.held;
    boundary_.evidence.begin_stay(mean);
    const auto count = [&](Nanos held) {
      boundary_.held = held_before + held;
      boundary_.evidence.stayed(play_.changes(), to_seconds(held) / 60);
    };
    count(play_.hold(boundary_.number, mean, before, longest, [&](Nanos held) {
      count(held);
      return done();
    }));
  }

  void add_row() {
    const HoldEvidence& seen = boundary_.evidence;
    const double minutes = seen.minutes(), dispersion = boundary_.foreseen->dispersion;
    const OwnDeadband& own = *boundary_.own;
    const double worth = std::isfinite(own.u_rpm()) ? worth_min(own.u_rpm()) : minutes;
    FlickerResult row;
    row.boundary = name(boundary_.number);
    row.mean_rpm = own.is_visited() ? own.worst_mean() : boundary_.foreseen->mean_rpm;
    row.duration_s = to_seconds(boundary_.held);
    row.changes = seen.changes();
    row.rate_per_min = static_cast<double>(row.changes) / minutes;
    const double upper = 2 * dispersion * one_sided_upper(seen.cycles_to_pass() / dispersion, 0.95) / worth;
    row.upper_95_per_min = std::isfinite(upper) ? upper : not_measured;
    row.limit_per_min = plan_.dwell.limit_per_min;
    const bool lost = play_.playing().lost() > 0;
    row.verdict = lost ? worst(boundary_.verdict, Verdict::undecided) : boundary_.verdict;
    explain(row, minutes);
    if (dispersion >= 1.1)
      note("boundary " + row.boundary + ": with this noise the changes come in bursts, so " +
           decimal(dispersion, 1) + " of them count as one");
    folder_.journal(dwell_line(row));
    result_.flicker.push_back(std::move(row));
  }

  void explain(const FlickerResult& row, double minutes) {
    if (row.verdict == Verdict::pass) return;
    const std::size_t b = boundary_.number;
    const FlickerReason reason = explain_seen(plan_.noise, plan_.unit, plan_.gauge.pulses_per_rev,
                                              plan_.gauge.windows[b].from_rpm, boundary_.foreseen->simulated,
                                              static_cast<double>(row.changes), minutes, row.limit_per_min);
    const std::string text = "boundary " + row.boundary + " at " + decimal(row.mean_rpm, 1) +
                             " rpm: " + std::to_string(row.changes) + " lamp changes in " +
                             say_time(from_seconds(row.duration_s)) + ", limit " +
                             decimal(row.limit_per_min, 2) + " per minute; " + reason.sentence;
    if (row.verdict != Verdict::fail) return note(text);
    found(FindingKind::flicker, text, row.boundary);
    fails_.push_back({b, row.rate_per_min, reason.cause == FlickerCause::unit});
  }

  std::string nowhere(std::size_t b, const DwellVisits& visits) const {
    const double middle = visits.nominal_rpm(), widest = visits.widest_half();
    return "boundary " + name(b) + ": the lamps did not change on and off between " +
           decimal(middle - widest, 0) + " and " + decimal(middle + widest, 0) +
           " rpm, so there is no rpm to hold at: check its threshold with a survey first";
  }

  void close() {
    DwellEnd end{plan_.dwell.limit_per_min, {}, {}, {}, {}, ""};
    for (std::size_t b = 1; b <= plan_.gauge.boundaries(); ++b) {
      const auto row = std::find_if(result_.flicker.begin(), result_.flicker.end(),
                                    [&](const FlickerResult& r) { return r.boundary == name(b); });
      if (row == result_.flicker.end())
        (not_tried_.contains(b) || play_.is_blind(b) ? end.not_tried : end.open).push_back(name(b));
      else
        (row->verdict == Verdict::fail   ? end.flicker
         : row->verdict == Verdict::pass ? end.quiet
                                         : end.open)
            .push_back(name(b));
    }
    for (const std::size_t b : not_tried_) result_.not_visited.push_back(name(b));
    if (!end.flicker.empty()) end.width = forecast_->width_that_holds(fails_);
    result_.closing = closing_words(end);
  }

  std::size_t index_of(const FlickerResult& row) const {
    std::size_t b = 1;
    while (b < plan_.gauge.boundaries() && name(b) != row.boundary) ++b;
    return b;
  }

  const std::string& name(std::size_t b) const { return plan_.gauge.windows[b].name; }

  // The boundary that is being certified.
  struct Present {
    std::size_t number = 0;
    const DwellForecast::Boundary* foreseen = nullptr;
    const RateTest* test = nullptr;
    OwnDeadband* own = nullptr;
    HoldEvidence evidence = {};
    Nanos held = 0;
    Verdict verdict = Verdict::undecided;
  };

  const DwellPlan& plan_;
  RunFolder& folder_;
  const RunHooks& hooks_;
  RunResult result_;
  std::optional<DwellForecast> forecast_;
  std::vector<DwellForecast::Failed> fails_;
  std::set<std::size_t> not_tried_;
  Present boundary_;
  VisitedUnit unit_;
  bool unheld_ = false;  // a boundary that could not be held
  DwellPlay play_;
};

}  // namespace

RunOutcome run_dwell(const DwellPlan& plan, Rig& rig, RunFolder& folder, const RunHooks& hooks) {
  return DwellRun(plan, rig, folder, hooks).run();
}

Nanos longest_dwell(const Gauge& gauge, const Dwell& dwell) {
  Nanos all = waking;
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b) {
    const DwellVisits visits(gauge, b);
    const auto whole = [&](double half) {
      return lasts_on_bench(visits.whole(DwellVisits::Rate::slow, visits.nominal_rpm(), half));
    };
    all += coming + dwell.longest + OwnDeadband::most_visits * whole(visits.usual_half());
    all += (OwnDeadband::most_missed + 3) * whole(visits.widest_half());
  }
  return all;
}

}  // namespace tachproof
