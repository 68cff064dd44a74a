#include "bench/run/dwell_run.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <set>

#include "bench/record/folder_format.h"
#include "bench/run/dwell_forecast.h"
#include "bench/run/dwell_play.h"
#include "bench/run/dwell_words.h"
#include "core/base/text.h"
#include "core/flicker/flicker_causes.h"
#include "core/plan/hold_evidence.h"
#include "core/plan/own_middle.h"
#include "core/plan/survey_view.h"

namespace tachproof {
namespace {

constexpr Nanos waking = unit_wakes;       // a unit gets so long at its first mean,
constexpr Nanos coming = 300 * ns_per_ms;  // and so long at that of another boundary
constexpr std::size_t most_visits = 16;
constexpr double in_hand = 1.2;            // of U, for what the visit after the hold may show
constexpr int most_missed = 3;             // visits without a change, after one with
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
    boundary_ = {b, &foreseen, &test, DwellVisits(plan_.gauge, b), foreseen.shape};
    look();
    if (play_.playing().stopped()) return;
    if (boundary_.verdict == Verdict::fail) return add_row();
    const bool is_found = find_deadband();
    if (play_.playing().stopped()) return;
    if (!is_found) {
      note(nowhere(b));
      unheld_ = true;
      return;
    }
    hold_on();
    visited_.add(boundary_rpm(), boundary_.own);
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

  // Visits, until more of them would cost more than they would save of the hold.
  bool find_deadband() {
    const double usual = boundary_.visits.usual_half(), widest = boundary_.visits.widest_half();
    const OwnMiddle& own = boundary_.own;
    int missed = 0;
    double half = 0;
    while (!play_.playing().stopped() && own.visits() < most_visits && !is_known_well()) {
      if (visit(half)) {
        half = least_half();
      } else if (half == 0) {
        boundary_.briefly = false;
        half = usual;
      } else if (own.visits() > 0 ? ++missed > most_missed : half >= widest) {
        return false;
      } else {
        half = std::min(2 * half, widest);
      }
    }
    return std::isfinite(u_rpm());
  }

  // So far to both sides of the middle; as briefly as can be for a half of 0.
  bool visit(double half) {
    const DwellVisits& visits = boundary_.visits;
    OwnMiddle& own = boundary_.own;
    const DwellVisits::Rate rate = next_rate();
    const double middle = own.visits() > 0 ? own.rpm() : visits.nominal_rpm();
    const std::optional<DwellVisit::Seen> seen =
        play_.visit(boundary_.number, half > 0         ? visits.whole(rate, middle, half)
                                      : boundary_.last ? visits.again(rate, *boundary_.last, response_s_)
                                                       : visits.brief(rate, middle));
    if (seen && boundary_.last && seen->rate != boundary_.last->rate) learn(*seen, *boundary_.last);
    boundary_.last = seen;
    if (seen) own.visit(seen->middle_rpm(), seen->rate);
    return seen.has_value();
  }

  // A unit whose deadband is narrower than the one that was simulated flickers as much with less noise, and
  // less far from its worst mean.
  void learn(const DwellVisit::Seen& a, const DwellVisit::Seen& b) {
    const double response_s = a.response_s(b);
    const double deadband = a.up_rpm - a.down_rpm - 2 * a.rate * response_s;
    const DwellForecast::Boundary& foreseen = *boundary_.foreseen;
    boundary_.shape = foreseen.shape.scaled(std::clamp(deadband / foreseen.shape_rpm, 0.01, 1.0));
    response_s_ = response_s;
  }

  double least_half() const { return boundary_.briefly ? 0 : boundary_.visits.usual_half(); }

  // Two visits at each rate at the first boundary, which tell how this unit's visits scatter; then one at
  // each. More, where they are shorter than the hold that they save.
  bool is_known_well() const {
    if (!std::isfinite(u_rpm())) return false;
    const auto hold_s = [&](double u) { return 60 * boundary_.test->earliest_pass_min() / share_of(u); };
    return hold_s(u_rpm()) - hold_s(OwnMiddle::least_u_rpm) <= to_seconds(spent_on_visits());
  }

  Nanos spent_on_visits() const {
    const DwellVisit usual = boundary_.visits.brief(DwellVisits::Rate::slow, boundary_.own.rpm());
    return static_cast<Nanos>(boundary_.own.visits()) * lasts_on_bench(usual);
  }

  double boundary_rpm() const { return plan_.gauge.windows[boundary_.number].from_rpm; }
  double worst_mean() const { return boundary_.own.rpm() + boundary_.foreseen->off_rpm; }
  double u_rpm() const { return boundary_.own.u_rpm(visited_.at(boundary_rpm())); }
  DwellVisits::Rate next_rate() const {
    return boundary_.own.visits() % 2 == 0 ? DwellVisits::Rate::fast : DwellVisits::Rate::slow;
  }

  // The hold, and the visit that shows that the unit is still there. Each round goes
  // once through the means; a unit that is not clear gets longer ones, and more visits.
  void hold_on() {
    Nanos each = 0;
    for (std::size_t next = 0; !play_.playing().stopped() && boundary_.verdict == Verdict::undecided;) {
      const double u = u_rpm();
      const std::vector<double> offs = hold_offsets(boundary_.shape, u);
      const auto means = static_cast<double>(offs.size());
      if (each == 0)
        each = from_seconds(60 * boundary_.test->earliest_pass_min() / share_of(in_hand * u) / means) +
               ns_per_ms;
      const Nanos left = plan_.dwell.longest - boundary_.held;
      bool passes = false;
      stay(worst_mean() + offs[next % offs.size()], 0, std::min(left, each), [&] {
        if (is_over()) boundary_.verdict = Verdict::fail;
        passes = is_under(in_hand * u_rpm());
        return passes || boundary_.verdict == Verdict::fail;
      });
      if (play_.playing().stopped()) return;
      if (passes) {
        if (!still_there()) return;
        // Where it lay far from the others: visits are shorter than one more hold.
        while (!play_.playing().stopped() && boundary_.own.visits() < most_visits && !is_known_well())
          if (!visit(least_half())) break;
        if (is_under(u_rpm())) boundary_.verdict = Verdict::pass;
      }
      if (boundary_.held >= plan_.dwell.longest) return;
      if (++next % offs.size() == 0 && !passes) {
        each *= 2;
        visit_more();
      }
    }
  }

  double share_of(double u_rpm) const {
    const MeanShape& shape = boundary_.shape;
    return std::max(0.05, shape.least_share(hold_offsets(shape, u_rpm), u_rpm));
  }

  // As long as they cost less than the hold has, and it may gain by them.
  void visit_more() {
    while (!play_.playing().stopped() && boundary_.own.visits() < most_visits &&
           spent_on_visits() < boundary_.held && share_of(u_rpm()) < 0.99 * share_of(OwnMiddle::least_u_rpm))
      if (!visit(least_half())) return;  // where it is lost, the last visit says so
  }

  bool still_there() {
    for (const double half : {least_half(), boundary_.visits.widest_half()}) {
      if (visit(half)) return true;
      if (play_.playing().stopped()) return false;
    }
    unheld_ = true;
    note("boundary " + name(boundary_.number) +
         ": after the hold the lamps no longer changed on and off there, so what was counted says nothing: "
         "check the unit's power and its wiring");
    return false;
  }

  bool is_over() const {
    const HoldEvidence& seen = boundary_.evidence;
    return boundary_.test->is_over(seen.cycles_to_fail(), seen.minutes(),
                                   boundary_.held >= plan_.dwell.longest);
  }

  double worth_min(double u) const { return boundary_.evidence.worth_min(boundary_.shape, worst_mean(), u); }

  bool is_under(double u) const {
    return boundary_.test->is_under(boundary_.evidence.cycles_to_pass(), worth_min(u),
                                    boundary_.held >= plan_.dwell.longest);
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
    const double worth = std::isfinite(u_rpm()) ? worth_min(u_rpm()) : minutes;
    FlickerResult row;
    row.boundary = name(boundary_.number);
    row.mean_rpm = boundary_.own.visits() > 0 ? worst_mean() : boundary_.foreseen->mean_rpm;
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

  std::string nowhere(std::size_t b) const {
    const double middle = boundary_.visits.nominal_rpm(), widest = boundary_.visits.widest_half();
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
    DwellVisits visits;
    MeanShape shape = {};  // of the unit's own deadband
    HoldEvidence evidence = {};
    OwnMiddle own = {};
    std::optional<DwellVisit::Seen> last = {};  // shown by the last visit
    bool briefly = true;                        // visits are brief, while they show the lamps' changes
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
  Present boundary_{0, nullptr, nullptr, DwellVisits(plan_.gauge, 1)};
  OtherVisits visited_;               // at the boundaries before
  std::optional<double> response_s_;  // of the unit
  bool unheld_ = false;               // a boundary that could not be held
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
    all += coming + dwell.longest + most_visits * whole(visits.usual_half());
    all += (most_missed + 3) * whole(visits.widest_half());
  }
  return all;
}

}  // namespace tachproof
