#include "core/judge/judge.h"

#include <algorithm>
#include <bit>
#include <cmath>

#include "core/base/text.h"
#include "core/judge/allowance.h"
#include "core/judge/judge_impl.h"

namespace tachproof {
namespace {

// Lamps of one change may be this far apart; never so far that a blink's
// shorter phase would pass for it.
Nanos settling_time(const Gauge& gauge) {
  Nanos settle = gauge.tolerance.settle;
  if (gauge.blink) settle = std::min(settle, from_seconds(gauge.blink->shorter_phase_s() / 4));
  return settle;
}

// r must come back by this much to move a conforming unit's lamp both ways:
// the deadband, each end off by the tolerance.
double least_turn(const Gauge& gauge) { return std::max(1.0, gauge.deadband.rpm - 2 * gauge.tolerance.rpm); }

constexpr Nanos in_a_moment = 50 * ns_per_ms;  // for a jump past several windows
constexpr Nanos long_enough = 50 * ns_per_ms;  // to say that a lamp ought to have been seen

// Lamps that change this near to each other look as one; and two periods of the slowest dimming.
constexpr Nanos least_apart = 55 * ns_per_ms;

}  // namespace

ExpectationOptions expectation_options(const Gauge& gauge, const JudgeSetup& setup) {
  ExpectationOptions options;
  options.before = setup.before;
  // Two standard uncertainties of the rpm itself, where it was measured.
  options.extra_rpm = [noise = setup.noise, gauge,
                       extra = 2 * setup.rpm_uncertainty + setup.bench.source.rpm](double rpm) {
    return noise_allowance_rpm(noise, gauge, rpm) + extra;
  };
  options.source_lag = setup.bench.source.lag;
  return options;
}

Judge::Impl::Impl(const Gauge& gauge, const JudgeSetup& setup)
    : gauge_(gauge),
      setup_(setup),
      wired_(setup.wired & gauge.all_channels()),
      reading_(gauge, wired_),
      expectation_(gauge, expectation_options(gauge, setup)),
      pictures_(settling_time(gauge), setup.bench.watcher.resolution,
                [this](Channels lit) { return reading_.is_picture(lit); }),
      sides_(gauge_, reading_, 2 * setup.bench.watcher.resolution,
             gauge.tolerance.response_to + gauge.tolerance.settle + setup.bench.source.lag),
      wrong_(gauge_, reading_, wired_),
      history_(least_turn(gauge)),
      crossings_(gauge.boundaries()),
      meters_(gauge.windows.size(), std::vector<BlinkMeter>(gauge.channels())),
      demanded_(gauge.windows.size(), 0),
      visits_(gauge_, setup_),
      held_(gauge_, setup_),
      apart_(least_apart + 2 * (settling_time(gauge) + setup.bench.watcher.resolution)) {}

void Judge::Impl::rpm(const Segment& segment) {
  if (history_.empty() && setup_.before == ExpectationOptions::Before::unknown)
    disturbed(0, segment.start.whole + gauge_.tolerance.response_to + settling_time(gauge_));
  history_.add(segment);
  expectation_.add(segment);
  advance();
}

void Judge::Impl::lamps(std::span<const LampEvent> events) {
  if (events.empty()) return;
  if (!any_lamps_) {
    lamps_from_ = events[0].at;
    raw_ = events[0].lit;
    any_lamps_ = true;
  }
  std::uint64_t changes = 0;
  Channels ever = 0;
  for (const LampEvent& event : events) {
    changes += event.lit != raw_ ? 1 : 0;
    raw_ = event.lit;
    ever |= event.lit;
  }
  result_.evidence.lamp_changes += changes;
  // A dimmed lamp has hundreds of events a second: they are copied where some lamp is to be left out only.
  if ((ever & ~wired_) == 0) {
    pictures_.add(events);
  } else {
    for (const LampEvent& event : events) masked_.push_back({event.at, event.lit & wired_});
    pictures_.add(masked_);
    masked_.clear();
  }
  advance();
}

void Judge::Impl::seen_until(Nanos until) {
  pictures_.seen_until(until);
  advance();
}

void Judge::Impl::disturbed(Nanos from, Nanos to) {
  expectation_.disturbed(from, to);
  disturbances_.add(from, to);
}

void Judge::Impl::answered(const AnswerResult& answer) {
  if (answer.verdict == Verdict::fail)
    log_.add({FindingKind::wrong_answer, answer.at, "", "",
              "\"" + answer.question + "\": answered " + answer.answer + "; expected " + answer.expected});
  result_.answers.push_back(answer);
}

// No further than the lamps: what disturbed the signal then has been told by now.
void Judge::Impl::take_expectation() {
  Expectation::Decided decided = expectation_.take(pictures_.settled_until());
  for (const Reach& reach : decided.reaches) {
    if (reach_sink_) reach_sink_(reach);
    reaches_.push_back(reach);
  }
  demands_.insert(demands_.end(), decided.transitions.begin(), decided.transitions.end());
  expected_until_ = decided.known_until;
}

void Judge::Impl::advance() {
  take_expectation();
  advance_to(std::min(expected_until_, pictures_.settled_until()));
}

void Judge::Impl::advance_to(Nanos horizon) {
  for (;;) {
    Nanos next = horizon;
    bool any = false;
    if (!reaches_.empty() && reaches_.front().from <= next) next = reaches_.front().from, any = true;
    if (const LampEvent* shown = pictures_.next(); shown != nullptr && shown->at <= next)
      next = shown->at, any = true;
    if (!any) break;
    at_instant(next);
  }
  // Not at each instant: a hold has none, and may have rpm for each of its pulses for hours.
  forget(horizon);
}

void Judge::Impl::at_instant(Nanos t) {
  span_ended(t);
  const std::size_t was_lowest = lowest_, was_highest = highest_;
  const bool demands_were_known = demands_known_;
  const Channels was_lit = lit_;
  bool demand_moved = false, lamps_moved = false;
  for (; !reaches_.empty() && reaches_.front().from == t; reaches_.pop_front()) {
    lowest_ = reaches_.front().lowest;
    highest_ = reaches_.front().highest;
    demand_moved = demands_known_ = true;
  }
  for (; pictures_.next() != nullptr && pictures_.next()->at == t; pictures_.pop()) {
    lamps_moved = lamps_moved || !lamps_known_ || lit_ != pictures_.next()->lit;
    lit_ = pictures_.next()->lit;
    lamps_known_ = true;
  }
  const auto was_open = [&](std::size_t b) {
    return demands_were_known && was_lowest < b && b <= was_highest;
  };
  if (demand_moved)
    for (std::size_t b = 1; b <= gauge_.boundaries(); ++b) {
      if (!demands_were_known) crossings_.start(b, lowest_ >= b, window_ >= b);
      const bool jumped =
          demands_were_known && !was_open(b) && !boundary_open(b) && (was_lowest >= b) != (lowest_ >= b);
      if ((boundary_open(b) && !was_open(b)) || jumped) crossings_.open(b, t);
    }
  look(t, demand_moved, lamps_moved, was_lit);
  if (demand_moved)
    for (std::size_t b = 1; b <= gauge_.boundaries(); ++b) {
      const bool jumped =
          demands_were_known && !was_open(b) && !boundary_open(b) && (was_lowest >= b) != (lowest_ >= b);
      if (!(was_open(b) && !boundary_open(b)) && !jumped) continue;
      const auto demand = std::find_if(demands_.begin(), demands_.end(), [&](const ExpectedTransition& d) {
        return d.boundary == b && d.latest == t;
      });
      const bool demanded = demand != demands_.end();
      crossings_.close(b, t, lowest_ >= b, demanded ? &*demand : nullptr);
      if (demanded) demands_.erase(demand);
    }
  take_crossings();
  take_chatter();
}

// Reads the lamps against the demand, both as they are from t on. `before`: lit until t.
void Judge::Impl::look(Nanos t, bool demand_moved, bool lamps_moved, Channels before) {
  if (!lamps_known_ || !demands_known_) return;
  // Where the rpm is heading decides between pictures that are alike only.
  std::optional<WindowReading::Read> plain = reading_.read_plain(lit_, lowest_, highest_, window_);
  if (!plain) {
    const std::size_t ahead = heading_for(t);
    plain = reading_.read(lit_, lowest_, highest_, window_, ahead);
  }
  const WindowReading::Read read = *plain;
  const bool reread = read.window != window_ && !lamps_moved;
  if (read.window != window_) {
    // It may have come this far before, where the lamps show the same.
    const std::size_t unseen =
        lamps_moved ? reading_.furthest_alike(before, window_, read.window, lowest_, highest_) : window_;
    // Lamps that come a little apart while windows are passed by make moves that were none.
    const Nanos undone = highest_ > lowest_ + 1 ? slack() : 0;
    crossings_.moved(window_, unseen, t, true, undone);
    crossings_.moved(unseen, read.window, t, !lamps_moved, undone);
    if (lamps_moved && clear_ && read.known) {
      const bool disturbed = disturbances_.any(t - gauge_.tolerance.response_to, t);
      sides_.changed(unseen, read.window, t, disturbed, history_);
      if (!disturbed) held_.changed(unseen, read.window, t, history_);
      visits_.changed(t, history_);
    }
    went_up_ = read.window > window_;
  }
  window_ = read.window;
  // A blink is judged while its window is demanded: before and after, its dark
  // phase may as well be the neighbour's picture.
  const std::size_t blinking = lowest_ == highest_ && window_ == lowest_ ? window_ : no_window;
  if (blinking != blinking_window_) {
    leave_blinks(t);
    blinking_window_ = blinking;
    for (Channels left = blinking == no_window ? 0 : reading_.blinking(blinking); left != 0;
         left &= left - 1) {
      const auto c = static_cast<std::size_t>(std::countr_zero(left));
      meters_[blinking][c].enter(t, (lit_ >> c) & 1);
    }
  } else if (lamps_moved && blinking != no_window) {
    for (Channels left = reading_.blinking(blinking); left != 0; left &= left - 1) {
      const auto c = static_cast<std::size_t>(std::countr_zero(left));
      meters_[blinking][c].change(t, (lit_ >> c) & 1);
    }
  }
  clear_ = read.known;
  if (wrong_.is_one() && (read.allowed || lamps_moved)) end_wrong(t, demand_moved && !lamps_moved, reread);
  if (!read.allowed && !wrong_.is_one())
    wrong_.begin({t, lit_, read.known, demand_moved && !lamps_moved, lowest_, highest_, read.window,
                  history_.rpm_at(t)});
  else
    wrong_.demand(lowest_, highest_);
}

// The window that the rpm is heading for, as far as the unit can know by t.
std::size_t Judge::Impl::heading_for(Nanos t) const {
  const double rpm = history_.rpm_at(t);
  const Nanos known_from = t - gauge_.tolerance.response_to;
  const double risen = rpm - history_.rpm_at(known_from);
  // One way all the time: windows narrower than the tolerance are passed that way
  // too, wherever exactly the unit is.
  if (risen != 0 && history_.turns_between(known_from, t) == 0) return risen > 0 ? gauge_.boundaries() : 0;
  std::size_t ahead = 0;
  while (ahead < gauge_.boundaries() && rpm >= gauge_.windows[ahead + 1].from_rpm) ++ahead;
  // Just where it is, about a turn: it goes on as it went.
  if (ahead == window_) return went_up_ ? gauge_.boundaries() : 0;
  return ahead;
}

void Judge::Impl::leave_blinks(Nanos t) {
  if (blinking_window_ == no_window) return;
  for (BlinkMeter& meter : meters_[blinking_window_]) meter.leave(t);
}

void Judge::Impl::span_ended(Nanos t) {
  if (lamps_known_ && demands_known_ && t > now_) {
    ever_.seen(lit_, wired_);
    judged_ += t - now_;
    const Nanos disturbed = disturbances_.within(now_, t);
    disturbed_for_ += disturbed;
    sides_.span({now_, t, lit_, lowest_, highest_, disturbances_.any(now_, t)}, history_);
    const bool one = lowest_ == highest_ && window_ == lowest_;
    apart_.span(now_, t, one ? std::optional(window_) : std::nullopt, reading_.blinking(window_), lit_);
    if (lowest_ == highest_) {
      demanded_[lowest_] += t - now_ - disturbed;
      if (t - now_ - disturbed >= long_enough)
        ever_.wanted(reading_.steady(lowest_), reading_.blinking(lowest_), wired_);
    }
  }
  now_ = t;
}

// Lamps of one change may come this far apart; of a dimmed one, a period more.
Nanos Judge::Impl::slack() const { return settling_time(gauge_) + pictures_.dimming().slack(); }

void Judge::Impl::end_wrong(Nanos t, bool by_demand, bool reread) {
  std::optional<Finding> finding = wrong_.end({t, by_demand, reread, slack(), lamps_from_}, disturbances_);
  if (finding && setup_.what.steady) log_.add(std::move(*finding));
}

void Judge::Impl::take_crossings() {
  for (const Crossing& crossing : crossings_.crossings) {
    const std::size_t b = crossing.demand.boundary;
    if (!setup_.what.transitions || reading_.look_alike(b - 1, b)) continue;
    seen_.push_back(describe(crossing));
    keep_visit(seen_.back());
  }
  crossings_.crossings.clear();
  // A watcher of few frames a second does not date a change well enough to hold a little against the unit.
  constexpr Nanos coarse = ns_per_ms;
  const Nanos guard = from_seconds(2 * bench_uncertainty(setup_.bench).timing_s);
  for (const Crossing& out : crossings_.excursions) {
    const ExpectedTransition& d = out.demand;
    const bool early = out.timing == Crossing::Timing::early;
    if (!setup_.what.transitions ||
        (early && disturbances_.outside(out.at, d.earliest) < Settling::invisible))
      continue;
    if (guard > coarse && (!early || d.earliest - out.at <= guard)) {
      log_.add(
          {FindingKind::lost_evidence, out.at, gauge_.windows[d.boundary].name, "",
           "boundary " + gauge_.windows[d.boundary].name +
               ": cannot decide whether the lamps changed in time, because instants are known only to +-" +
               say_span(guard) + "; cross it more slowly, or use a watcher with finer stamps"});
      continue;
    }
    const std::string way = d.direction == Direction::rising ? "above" : "below";
    log_.add({early ? FindingKind::early : FindingKind::late, out.at, gauge_.windows[d.boundary].name, "",
              early ? "the lamps showed the side " + way + " boundary " + gauge_.windows[d.boundary].name +
                          " " + say_span(d.earliest - out.at) + " too early"
                    : "the lamps did not show the side " + way + " boundary " +
                          gauge_.windows[d.boundary].name + " at " + say_time(d.latest) +
                          ", when they had to"});
  }
  crossings_.excursions.clear();
}

// Chatter looks back to where a boundary opened, if not all since then is forgiven; a fit looks back to
// before the change.
void Judge::Impl::forget(Nanos now) {
  const Nanos reach_back = 2 * gauge_.tolerance.response_to + ns_per_s;
  if (!history_.any_before(now - reach_back)) return;
  Nanos keep = now;
  for (std::size_t b = 1; b <= gauge_.boundaries(); ++b)
    if (boundary_open(b) && disturbances_.outside(crossings_.open_since(b), now) > 0)
      keep = std::min(keep, crossings_.open_since(b));
  // A stretch that proves a side may be as long as the slowest blink.
  if (sides_.any_by_blinks())
    keep =
        std::min(keep, now - from_seconds(1 / std::max(gauge_.blink->hz - gauge_.tolerance.blink_hz, 0.05)));
  history_.forget_before(keep - reach_back);
  sides_.forget_before(keep - reach_back);
}

void Judge::Impl::take_chatter() {
  for (const Chatter& chatter : crossings_.chatter) {
    // Each time that the profile turned, one more move is the unit's right; and so is the
    // way back from where a disturbance left it.
    std::size_t right =
        1 + history_.turns_between(chatter.open_since - gauge_.tolerance.response_to, chatter.open_until);
    std::size_t moves = chatter.moves;
    if (disturbances_.any(chatter.open_since, chatter.open_until)) {
      moves = 0;
      for (const Nanos at : chatter.at) moves += !disturbances_.any(at, at + 1);
      right += disturbances_.count(chatter.open_since, chatter.open_until);
    }
    if (moves <= right) continue;
    // Past several windows in a moment, lamps that come apart make pictures of windows that were not
    // shown, and windows that look alike cannot be told from each other.
    if (chatter.in_passing && !chatter.at.empty() && chatter.at.back() - chatter.at.front() <= in_a_moment)
      continue;
    const std::size_t b = chatter.boundary, extra = moves - right;
    const std::string& name = gauge_.windows[b].name;
    if (!setup_.noise.quiet()) {
      // The signal itself crossed it again and again: counted, not held against the unit.
      auto row = std::find_if(result_.flicker.begin(), result_.flicker.end(),
                              [&](const FlickerResult& r) { return r.boundary == name; });
      if (row == result_.flicker.end()) {
        result_.flicker.push_back({});
        row = std::prev(result_.flicker.end());
        row->boundary = name;
        row->mean_rpm = gauge_.windows[b].from_rpm;
      }
      row->changes += extra;
      row->duration_s += to_seconds(chatter.open_until - chatter.open_since);
    } else if (setup_.what.transitions) {
      log_.add({FindingKind::extra_transition, chatter.at[std::min(right, chatter.at.size() - 1)], name, "",
                "boundary " + name + ": the lamps changed " + std::to_string(moves) + " times from " +
                    say_time(chatter.at.front()) + " to " + say_time(chatter.at.back()) + "; only " +
                    std::to_string(right) + (right == 1 ? " change is" : " changes are") + " right"});
    }
  }
  crossings_.chatter.clear();
}

Judge::Judge(const Gauge& gauge, const JudgeSetup& setup) : impl_(std::make_unique<Impl>(gauge, setup)) {}
Judge::~Judge() = default;
Judge::Judge(Judge&&) noexcept = default;
void Judge::rpm(const Segment& segment) { impl_->rpm(segment); }
void Judge::lamps(std::span<const LampEvent> events) { impl_->lamps(events); }
void Judge::seen_until(Nanos until) { impl_->seen_until(until); }
void Judge::disturbed(Nanos from, Nanos to) { impl_->disturbed(from, to); }
void Judge::answered(const AnswerResult& answer) { impl_->answered(answer); }
void Judge::found(const Finding& finding) { impl_->found(finding); }
void Judge::pulses(std::uint64_t count) { impl_->pulses(count); }
void Judge::lost(std::uint64_t count) { impl_->lost(count); }
void Judge::unsure_blinks(Channels channels) { impl_->unsure_blinks(channels); }
void Judge::stamps(const StampTimes& stamps) { impl_->stamps(stamps); }
void Judge::untimed(const std::string& why) { impl_->untimed(why); }
void Judge::on_finding(std::function<void(const Finding&)> sink) { impl_->on_finding(std::move(sink)); }
void Judge::on_reach(std::function<void(const Reach&)> sink) { impl_->on_reach(std::move(sink)); }
RunResult Judge::finish(Nanos until, bool complete) { return impl_->finish(until, complete); }

}  // namespace tachproof
