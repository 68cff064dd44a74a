#include "core/judge/supply_watch.h"

#include <algorithm>
#include <cmath>

#include "core/base/text.h"
#include "core/judge/expectation.h"
#include "core/judge/power_watch.h"

namespace tachproof {
namespace {

Nanos settling(const Gauge& gauge) {
  Nanos settle = gauge.tolerance.settle;
  if (gauge.blink) settle = std::min(settle, from_seconds(gauge.blink->shorter_phase_s() / 4));
  return settle;
}

bool shows_cue(const Cue& cue, Channels lit, Channels wired) {
  return (lit & ~cue.blinking) == (cue.steady & ~cue.blinking & wired);
}

// A dimmed lamp is known by its second cycle, and what the unit has stored keeps a lamp lit for a while.
constexpr Nanos one_cycle = 25 * ns_per_ms;

}  // namespace

SupplyWatch::SupplyWatch(const Gauge& gauge, const JudgeSetup& setup, const SupplyMove& first)
    : gauge_(gauge),
      setup_(setup),
      wired_(setup.wired & gauge.all_channels()),
      shown_(settling(gauge), setup.bench.watcher.resolution, [gauge, wired = wired_](Channels lit) {
        return lit == 0 || std::any_of(gauge.windows.begin(), gauge.windows.end(), [&](const Window& window) {
                 return shows_cue(window.cue, lit, wired);
               });
      }) {
  moves(first);
}

void SupplyWatch::moves(const SupplyMove& move) {
  moves_.push_back(move);
  if (!move.outside_from) {
    if (dips() && !back_at_) {
      back_at_ = move.at + move.late;
      back_width_ = move.late;
    }
    return;
  }
  if (!outside_from_) outside_from_ = move.may_be_outside_from();
  back_at_ = move.back_at;
  if (back_at_) *back_at_ += move.late;
  back_width_ = move.late + move.early;
  const double middle_v = (gauge_.supply->lowest_v + gauge_.supply->highest_v) / 2;
  if (std::isnan(furthest_v_) || std::abs(move.furthest_v - middle_v) > std::abs(furthest_v_ - middle_v))
    furthest_v_ = move.furthest_v;
}

void SupplyWatch::done_by(Nanos by) {
  SupplyMove& last = moves_.back();
  if (!last.awaited) return;
  last.awaited = false;
  last.late = std::max<Nanos>(by - last.at, 0);
  if (!dips() || !back_at_) return;
  *back_at_ += last.late;
  back_width_ = last.late;
}

Nanos SupplyWatch::due() const {
  const Nanos still = moves_.back().still_from();
  return dips() ? std::max(still, PowerWatch::awake_by(gauge_, *back_at_)) : still;
}

double SupplyWatch::volts_at(Nanos t) const {
  const SupplyMove* now = &moves_.front();
  for (const SupplyMove& move : moves_)
    if (move.at <= t) now = &move;
  return now->volts_at(t);
}

void SupplyWatch::lamps(std::span<const LampEvent> events) {
  std::vector<LampEvent> wired(events.begin(), events.end());
  for (LampEvent& event : wired) event.lit &= wired_;
  shown_.add(wired);
  take_pictures();
}

void SupplyWatch::take_pictures() {
  for (; shown_.next() != nullptr; shown_.pop()) events_.push_back(*shown_.next());
}

bool SupplyWatch::shows(std::size_t window, Channels lit) const {
  return shows_cue(gauge_.windows[window].cue, lit, wired_);
}

bool SupplyWatch::is_greeting(Channels lit) const {
  return gauge_.power_up && gauge_.power_up->greets && shows_cue(gauge_.power_up->greets->cue, lit, wired_);
}

SupplyWatch::AllowedOfState SupplyWatch::allowed_in(const UnitState& state, const Look& look) const {
  Gauge gauge = state.gauge;
  gauge.tolerance.rpm += state.doubt_rpm;
  JudgeSetup setup = setup_;
  setup.before = ExpectationOptions::Before::unknown;
  Expectation expectation(gauge, expectation_options(gauge, setup));
  for (const Segment& segment : *look.rpm) expectation.add(segment);
  expectation.finish(look.until);
  AllowedOfState all{{0, 0, gauge.boundaries()}};  // before anything is known of it, any window
  for (const Reach& reach : expectation.take(look.until).reaches)
    all.push_back({reach.from, reach.lowest, reach.highest});
  return all;
}

bool SupplyWatch::is_right_in(const AllowedOfState& state, Nanos t, Channels lit, bool or_lower) const {
  const auto next = std::upper_bound(state.begin(), state.end(), t,
                                     [](Nanos at, const Allowed& one) { return at < one.from; });
  const Allowed& now = *std::prev(next);
  for (std::size_t w = or_lower ? 0 : now.lowest; w <= now.highest; ++w)
    if (shows(w, lit)) return true;
  return false;
}

bool SupplyWatch::is_right(Nanos t, Channels lit, bool or_lower) const {
  return std::any_of(allowed_.begin(), allowed_.end(),
                     [&](const AllowedOfState& state) { return is_right_in(state, t, lit, or_lower); });
}

// Dark, where the state that it must be in lights a lamp.
bool SupplyWatch::was_out_in(Nanos from, Nanos to, const Look& look) const {
  const auto lights = [&](Nanos t) { return !is_right_in(allowed_[look.must_be], t, 0, false); };
  return from < to && (lights(from) || std::any_of(changes_.begin(), changes_.end(),
                                                   [&](Nanos t) { return t > from && t < to && lights(t); }));
}

bool SupplyWatch::must_light_in(Nanos from, Nanos to) const {
  if (to <= from) return false;
  if (must_light(from)) return true;
  return std::any_of(changes_.begin(), changes_.end(),
                     [&](Nanos t) { return t > from && t < to && must_light(t); });
}

Nanos SupplyWatch::first_must_light(const Picture& picture) const {
  if (must_light(picture.from)) return picture.from;
  for (const Nanos t : changes_)
    if (t > picture.from && t < picture.to && must_light(t)) return t;
  return picture.to;
}

bool SupplyWatch::may_be_out(Nanos t, const Look& look) const {
  if (look.dark_at_v && t < PowerWatch::awake_by(gauge_, due())) return true;
  return dips() && t >= *outside_from_ && (!is_back() || t < due());
}

void SupplyWatch::find_pictures(const Look& look) {
  shown_.finish(look.until);
  take_pictures();
  for (std::size_t i = 0; i < events_.size(); ++i) {
    const Nanos from = std::max(events_[i].at, look.from);
    const Nanos to = std::min(i + 1 < events_.size() ? events_[i + 1].at : look.until, look.until);
    if (to > from) pictures_.push_back({from, to, events_[i].lit});
  }
  for (const UnitState& state : look.states) {
    allowed_.push_back(allowed_in(state, look));
    for (const Allowed& one : allowed_.back()) changes_.push_back(one.from);
  }
  std::sort(changes_.begin(), changes_.end());
}

SupplyWatch::Told SupplyWatch::finish(const Look& look) {
  Told told;
  const bool known = std::all_of(look.states.begin(), look.states.end(),
                                 [](const UnitState& state) { return state.unknown.empty(); });
  if (!known || look.until <= look.from) return told;
  find_pictures(look);
  if (pictures_.empty()) return told;
  look_for_strange(look, told);
  const Picture& last = pictures_.back();
  const Nanos due_by = is_back() ? due() + gauge_.tolerance.response_to + one_cycle : look.until;
  told.dark = last.lit == 0 && must_light_in(std::max(last.from + one_cycle, due_by), last.to);
  if (told.dark) say_dead(look, last, told);
  if (!told.dark && look.dark_at_v && last.lit == 0 && last.from <= look.from) {
    told.still_dark = true;
    told.dark_at_v = look.dark_at_v;
    return told;
  }
  if (dips() || look.dark_at_v) say_woken(look, !look.dark_at_v && told.dark_at_v.has_value(), told);
  return told;
}

// As in GapWatch, and beyond it where the unit may be out.
void SupplyWatch::look_for_strange(const Look& look, Told& told) {
  const Nanos slack = gauge_.tolerance.settle + setup_.bench.watcher.resolution + one_cycle / 2;
  Nanos out_until = look.dark_at_v ? look.from : -1;  // dark or greeting, and free to be
  bool told_out = false;                              // it went dark, and that has been said
  for (const Picture& picture : pictures_) {
    const Nanos from = picture.from + slack, to = std::min(picture.to, look.judged_from) - slack;
    const bool is_out = picture.lit == 0 || is_greeting(picture.lit);
    told_out = told_out && is_out;
    const bool may_out = told_out || may_be_out(from, look);
    const Nanos out_before = out_until;
    if (is_out && (may_out || may_be_out(to, look))) out_until = picture.to;
    if (told_out && picture.to < look.until) told.woke_late = picture.to;
    if (to <= from) continue;
    std::vector<Nanos> instants{from};
    for (const Nanos t : changes_)
      if (t > from && t < to) instants.push_back(t);
    // What is left of being out when it has to be awake is the judge's.
    if (is_out && may_out) continue;
    const Nanos catches_up = gauge_.tolerance.response_to + gauge_.tolerance.settle + one_cycle;
    for (const Nanos t : instants) {
      if (is_out && may_be_out(t, look)) continue;
      const bool woke = out_before >= 0 && t <= out_before + catches_up;
      if (look.disturbed->any(t - gauge_.tolerance.response_to, t + 1) || is_right(t, picture.lit, woke))
        continue;
      if (picture.lit != 0 && !is_greeting(picture.lit)) return say_strange(picture, told);
      // It boots now, and nobody has to say so again.
      if (picture.lit != 0) say_greeting(picture, look, told);
      if (picture.lit == 0 && look.was_alive && !look.dark_at_v) say_dark(t == from ? picture.from : t, told);
      told_out = true;
      out_until = picture.to;
      if (picture.to < look.until) told.woke_late = picture.to;
      break;
    }
  }
}

void SupplyWatch::say_strange(const Picture& picture, Told& told) const {
  const std::string lit = gauge_.describe(picture.lit);
  told.findings.push_back({FindingKind::wrong_cue, picture.from, "", lit,
                           lit + " was lit from " + say_time(picture.from) + " for " +
                               say_span(picture.to - picture.from) + ", fed " +
                               volts_text(volts_at(picture.from)) +
                               ": at that rpm the unit may show other lamps only, whatever it is fed"});
}

// It had lost its supply where nobody could see it.
void SupplyWatch::say_greeting(const Picture& picture, const Look& look, Told& told) const {
  if (told.dark_at_v || dips()) return say_strange(picture, told);
  PowerResult row;
  row.at = row.back_at = picture.from;
  row.lowest_v = volts_at(look.from);
  row.went_dark = true;
  row.verdict = Verdict::fail;
  row.remark = "the unit greeted, as after a loss of its supply";
  told.dark_at_v = row.lowest_v;
  told.rows.push_back(row);
  told.findings.push_back({FindingKind::brown_out, picture.from, "", "",
                           "the unit greeted at " + say_time(picture.from) + ", fed " +
                               volts_text(volts_at(picture.from)) +
                               ": it had been off, though it was fed what it may be fed, from " +
                               volts_text(row.lowest_v) + " on"});
}

void SupplyWatch::say_dark(Nanos at, Told& told) const {
  if (told.dark_at_v) return;
  const double volts = volts_at(at);
  told.dark_at_v = volts;
  PowerResult row;
  row.at = at;
  row.back_at = at;
  row.lowest_v = volts;
  row.went_dark = true;
  row.verdict = Verdict::fail;
  row.remark = "the unit went dark at " + volts_text(volts) + ", inside what it may be fed";
  for (const Picture& picture : pictures_)
    if (picture.lit == 0 && picture.from <= at && picture.to > at) row.back_at = picture.to;
  told.rows.push_back(row);
  told.findings.push_back({FindingKind::brown_out, at, "", "",
                           "the unit went dark at " + say_time(at) + ", fed " + volts_text(volts) +
                               "; the gauge says that it may be fed from " +
                               volts_text(gauge_.supply->lowest_v) + " to " +
                               volts_text(gauge_.supply->highest_v)});
}

void SupplyWatch::say_dead(const Look& look, const Picture& last, Told& told) const {
  const double volts = moves_.back().supply.to_v;
  const bool browned = told.dark_at_v || (look.dark_at_v && volts <= *look.dark_at_v);
  if (!dips() && !browned && !look.dark_at_v) {
    if (look.was_alive) say_dark(first_must_light(last), told);
    return;
  }
  if (!told.dark_at_v) told.dark_at_v = dips() ? furthest_v_ : *look.dark_at_v;
  if (!is_back() || browned || look.told_dead) return;
  const Nanos back = dips() ? *back_at_ : due();
  told.findings.push_back({FindingKind::no_return, back, "", "",
                           "the unit stayed dark after its supply was back inside what it may be fed, at " +
                               say_time(back) + ": fed " + volts_text(volts) + ", it showed no lamp for " +
                               say_span(last.to - std::max(back, last.from))});
}

// How a unit came through that was outside what it may be fed.
void SupplyWatch::say_woken(const Look& look, bool went_dark, Told& told) const {
  const bool dipped = dips();
  PowerResult row;
  row.at = dipped ? *outside_from_ : look.from;
  row.back_at = dipped ? back_at_.value_or(look.until) : due();
  row.lowest_v = dipped ? furthest_v_ : look.dark_at_v.value_or(not_measured);
  row.verdict = Verdict::pass;
  const auto add = [&](Verdict verdict, const std::string& remark) {
    row.verdict = worst(row.verdict, verdict);
    row.remark = remark;
    if (dipped) told.rows.push_back(row);
  };
  for (const Finding& finding : told.findings)
    if (finding.kind != FindingKind::brown_out) row.verdict = Verdict::fail;
  if (told.dark && is_back()) return add(Verdict::fail, "it stayed dark");
  if (!is_back())
    return add(Verdict::pass,
               "the supply was outside what the unit may be fed until something else was done");
  if (went_dark)
    return add(Verdict::undecided,
               "it had gone dark before, inside what it may be fed: mend that, and run again");
  const Nanos by = dipped ? due() : PowerWatch::awake_by(gauge_, due());
  if (look.until < by + gauge_.tolerance.response_to)
    return add(Verdict::undecided,
               "the lamps were not seen until the unit had to be awake: hold that voltage for longer");
  Nanos woke = -1;
  bool greeted = false;
  for (const Picture& picture : pictures_) {
    if (picture.from > by + gauge_.tolerance.response_to + one_cycle) continue;
    greeted = greeted || (picture.from >= row.at && is_greeting(picture.lit));
    if (picture.lit == 0 && picture.to > row.at &&
        was_out_in(std::max(picture.from, row.at), picture.to, look))
      woke = picture.to;
  }
  if (woke < 0) {
    if (is_right_in(allowed_[look.must_be], row.back_at, 0, false) && !greeted)
      return add(
          Verdict::undecided,
          "at this rpm the unit shows nothing, so that nobody sees whether it went out: let the supply "
          "dip at an rpm whose window lights a lamp");
    return add(Verdict::pass, "it stayed on");
  }
  if (look.dark_at_v) told.woke_late = woke;
  if (const Nanos back_from = row.back_at - back_width_; woke <= back_from)
    return add(Verdict::pass, "it was awake " + say_span(back_from - woke) +
                                  " before its supply was back inside what it may be fed");
  const Nanos boot = std::max<Nanos>(woke - row.back_at, 0);  // at least
  row.boot_ms = to_ms(std::max<Nanos>(woke - (row.back_at - back_width_ / 2), 0));
  row.expanded_uncertainty_ms =
      to_ms(2 * setup_.bench.watcher.resolution + gauge_.tolerance.settle / 2 + back_width_ / 2);
  const bool greets = gauge_.power_up && gauge_.power_up->greets;
  const Nanos slack = gauge_.tolerance.settle + 2 * setup_.bench.watcher.resolution +
                      (greets ? 0 : gauge_.tolerance.response_to);
  if (gauge_.power_up && boot > gauge_.power_up->boot_to + slack) {
    told.woke_late = woke;
    told.findings.push_back({FindingKind::slow_boot, woke, "", "",
                             "the unit woke " + say_span(boot) +
                                 " after its supply was back inside what it may be "
                                 "fed at " +
                                 say_time(row.back_at) + "; set: at most " +
                                 say_span(gauge_.power_up->boot_to)});
    return add(Verdict::fail, "");
  }
  add(Verdict::pass, "");
}

}  // namespace tachproof
