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

constexpr Nanos in_a_moment = 50 * ns_per_ms;  // for a jump past several windows
constexpr Nanos long_enough = 50 * ns_per_ms;  // to say that a lamp ought to have been seen

// Lamps that change this near to each other look as one; and two periods of the slowest dimming.
constexpr Nanos least_apart = 55 * ns_per_ms;

}  // namespace

Judge::Impl::Impl(const Gauge& gauge, const JudgeSetup& setup)
    : gauge_(gauge),
      setup_(setup),
      wired_(setup.wired & gauge.all_channels()),
      reading_(gauge, wired_),
      expectation_(gauge, expectation_options(gauge, setup)),
      settling_(settling_time(gauge)),
      blends_(setup.bench.watcher.resolution, [this](Channels lit) { return reading_.is_picture(lit); }),
      history_(least_turn(gauge)),
      crossings_(gauge.boundaries()),
      meters_(gauge.windows.size(), std::vector<BlinkMeter>(gauge.channels())),
      demanded_(gauge.windows.size(), 0),
      bounds_(gauge.windows.size(),
              ThresholdBounds(gauge.tolerance.response_to + gauge.tolerance.settle + setup.bench.source.lag)),
      visit_count_(2 * gauge.windows.size(), 0),
      apart_(least_apart + 2 * (settling_time(gauge) + setup.bench.watcher.resolution)) {
  if (!gauge_.blink) return;
  for (std::size_t b = 1; b <= gauge_.boundaries(); ++b)
    if (BlinkBoundary::is_one(reading_, b))
      blink_boundaries_.emplace_back(b,
                                     BlinkBoundary(gauge_, reading_, b, 2 * setup_.bench.watcher.resolution));
}

void Judge::Impl::rpm(const Segment& segment) {
  if (history_.empty() && setup_.before == ExpectationOptions::Before::unknown)
    disturbed(0, segment.start.whole + gauge_.tolerance.response_to + settling_time(gauge_));
  history_.add(segment);
  expectation_.add(segment);
  advance();
}

void Judge::Impl::lamps(std::span<const LampEvent> events) {
  if (events.empty()) return;
  for (const LampEvent& event : events) {
    if (any_lamps_ && event.lit != raw_) ++result_.evidence.lamp_changes;
    if (!any_lamps_) lamps_from_ = event.at;
    any_lamps_ = true;
    raw_ = event.lit;
    masked_.push_back({event.at, event.lit & wired_});
  }
  dimming_.add(masked_, undimmed_);
  masked_.clear();
  settle(std::min(dimming_.settled_until(), events.back().at - 1));
}

void Judge::Impl::seen_until(Nanos until) {
  dimming_.seen_until(until, undimmed_);
  settle(std::min(dimming_.settled_until(), until));
}

void Judge::Impl::disturbed(Nanos from, Nanos to) {
  expectation_.disturbed(from, to);
  if (!disturbed_.empty() && from <= disturbed_.back().second)
    disturbed_.back().second = std::max(disturbed_.back().second, to);
  else
    disturbed_.emplace_back(from, to);
}

void Judge::Impl::answered(const AnswerResult& answer) {
  if (answer.verdict == Verdict::fail)
    log_.add({FindingKind::wrong_answer, answer.at, "", "",
              "\"" + answer.question + "\": answered " + answer.answer + "; expected " + answer.expected});
  result_.answers.push_back(answer);
}

// No further than the lamps: what disturbed the signal then has been told by now.
void Judge::Impl::take_expectation() {
  Expectation::Decided decided = expectation_.take(lamps_until_);
  for (const Reach& reach : decided.reaches) {
    if (reach_sink_) reach_sink_(reach);
    reaches_.push_back(reach);
  }
  demands_.insert(demands_.end(), decided.transitions.begin(), decided.transitions.end());
  expected_until_ = decided.known_until;
}

void Judge::Impl::settle(Nanos until) {
  for (const LampEvent& event : undimmed_) settling_.add(event, settled_);
  undimmed_.clear();
  settling_.seen_until(until, settled_);
  const Nanos settled = settling_.settled_until(until);
  blend(settled);
  lamps_until_ = std::max(lamps_until_, blends_.settled_until(settled));
  advance();
}

void Judge::Impl::blend(Nanos until) {
  for (const LampEvent& event : settled_) blends_.add(event, shown_);
  settled_.clear();
  blends_.seen_until(until, shown_);
}

void Judge::Impl::advance() {
  take_expectation();
  advance_to(std::min(expected_until_, lamps_until_));
}

void Judge::Impl::advance_to(Nanos horizon) {
  for (;;) {
    Nanos next = horizon;
    bool any = false;
    if (!reaches_.empty() && reaches_.front().from <= next) next = reaches_.front().from, any = true;
    if (next_shown_ < shown_.size() && shown_[next_shown_].at <= next)
      next = shown_[next_shown_].at, any = true;
    if (!any) break;
    at_instant(next);
  }
  if (next_shown_ == shown_.size()) {
    shown_.clear();
    next_shown_ = 0;
  }
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
  for (; next_shown_ < shown_.size() && shown_[next_shown_].at == t; ++next_shown_) {
    lamps_moved = lamps_moved || !lamps_known_ || lit_ != shown_[next_shown_].lit;
    lit_ = shown_[next_shown_].lit;
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
  forget(t);
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
    if (lamps_moved && clear_ && read.known) see_change(unseen, read.window, t);
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
  if (violation_ && (read.allowed || lamps_moved)) end_violation(t, demand_moved && !lamps_moved, reread);
  if (!read.allowed && !violation_) {
    violation_ = Violation{t,       lit_,     read.known,  demand_moved && !lamps_moved,
                           lowest_, highest_, read.window, history_.rpm_at(t)};
  } else if (violation_ && violation_->lowest != violation_->highest) {
    violation_->lowest = lowest_;
    violation_->highest = highest_;
  }
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
    was_lit_ |= lit_;
    was_dark_ |= ~lit_ & wired_;
    judged_ += t - now_;
    const Nanos disturbed = disturbed_within(now_, t);
    disturbed_for_ += disturbed;
    see_sides(now_, t);
    const bool one = lowest_ == highest_ && window_ == lowest_;
    apart_.span(now_, t, one ? std::optional(window_) : std::nullopt, reading_.blinking(window_), lit_);
    if (lowest_ == highest_) {
      demanded_[lowest_] += t - now_ - disturbed;
      if (t - now_ - disturbed >= long_enough) {
        const Channels lit = reading_.steady(lowest_), blinking = reading_.blinking(lowest_);
        ought_lit_ |= lit;
        ought_dark_ |= wired_ & ~(lit | blinking);
      }
    }
  }
  now_ = t;
}

// Lamps of one change may come this far apart; of a dimmed one, a period more.
Nanos Judge::Impl::slack() const { return settling_time(gauge_) + dimming_.slack(); }

// While the unit is on its way past windows, lamps that come a little apart make
// pictures of no window: each lamp is then as in one of those that may be shown. Two changes
// that follow each other make such pictures for twice as long as one.
bool Judge::Impl::on_the_way(const Violation& v) const {
  if (v.lowest == v.highest) return false;
  Channels may_be_lit = 0, may_be_dark = 0;
  for (std::size_t w = v.lowest; w <= v.highest; ++w) {
    may_be_lit |= reading_.steady(w) | reading_.blinking(w);
    may_be_dark |= ~reading_.steady(w);
  }
  return (v.lit & ~may_be_lit) == 0 && (~v.lit & wired_ & ~may_be_dark) == 0;
}

void Judge::Impl::end_violation(Nanos t, bool by_demand, bool reread) {
  Violation v = *std::exchange(violation_, std::nullopt);
  // What was disturbed is forgiven, what came before and after is not.
  // An odd pulse makes another rpm, but never lamps that are no window's.
  const Nanos left = undisturbed(v.from, t), lasted = v.known ? left : t - v.from;
  // What is left beside a disturbance may be its last instants, or windows that are passed.
  const Nanos least = left == t - v.from ? Settling::invisible : v.known ? slack() : 2 * slack();
  if (!setup_.what.steady || lasted < least || (on_the_way(v) && t - v.from <= 2 * slack())) return;
  while (v.known && is_disturbed(v.from, v.from)) v.from = disturbed_until(v.from);
  // Right lamps at the wrong time: the boundary's own row tells. Not so where the same
  // lamps are right later for another window than they were read as: no
  // boundary sees a move in that.
  if (v.known && (v.from_demand || by_demand) && !reread) return;
  const std::size_t nearest = std::clamp(v.window, v.lowest, v.highest);
  const Cue wanted{reading_.steady(nearest), reading_.blinking(nearest)};
  // The watcher may have begun in the dark part of a dimmed lamp's period.
  const bool nothing_wrong_lit = (v.lit & ~(wanted.steady | wanted.blinking)) == 0;
  if (v.from == lamps_from_ && nothing_wrong_lit &&
      t - v.from < std::max(static_cast<Nanos>(1e9 / DimmingFilter::least_hz), 2 * slack()))
    return;
  const Channels differ = (v.lit & ~wanted.blinking) ^ wanted.steady;
  Finding finding{FindingKind::wrong_cue, v.from, gauge_.windows[nearest].name, "", ""};
  if (differ != 0)
    for (std::size_t lamp = 0; lamp < gauge_.lamps.size(); ++lamp)
      if (gauge_.lamp_channels(lamp) & differ) {
        finding.lamp = gauge_.lamps[lamp].id;
        break;
      }
  finding.message =
      "showed " + gauge_.describe(v.lit) +
      (v.known ? " (window " + gauge_.windows[v.window].name + ")" : std::string(" (no window shows this)")) +
      " for " + say_span(lasted) + " at " + decimal(v.rpm, 0) + " rpm; window " +
      gauge_.windows[nearest].name + " must show " + gauge_.describe(wanted);
  log_.add(std::move(finding));
}

bool Judge::Impl::is_disturbed(Nanos from, Nanos to) const {
  const auto after = std::upper_bound(disturbed_.begin(), disturbed_.end(), to,
                                      [](Nanos t, const auto& span) { return t < span.first; });
  return after != disturbed_.begin() && std::prev(after)->second > from;
}

Nanos Judge::Impl::disturbed_until(Nanos t) const {
  const auto after = std::upper_bound(disturbed_.begin(), disturbed_.end(), t,
                                      [](Nanos at, const auto& span) { return at < span.first; });
  return after == disturbed_.begin() ? t : std::max(t, std::prev(after)->second);
}

Nanos Judge::Impl::disturbed_within(Nanos from, Nanos to) const {
  Nanos sum = 0;
  auto span = std::upper_bound(disturbed_.begin(), disturbed_.end(), to,
                               [](Nanos t, const auto& one) { return t < one.first; });
  while (span != disturbed_.begin() && std::prev(span)->second > from) {
    --span;
    sum += std::min(to, span->second) - std::max(from, span->first);
  }
  return sum;
}

// What the span that ends says of the side of each boundary that no lamp dates.
void Judge::Impl::see_sides(Nanos from, Nanos to) {
  if (blink_boundaries_.empty()) return;
  const bool undisturbed = !is_disturbed(from, to);
  const bool still = history_.still_between(from - gauge_.tolerance.response_to, to);
  for (auto& [b, boundary] : blink_boundaries_) {
    const bool inside = undisturbed && lowest_ + 1 >= b && highest_ <= b;
    if (!inside) bounds_[b].lost();
    boundary.span(from, to, lit_, inside, still, [&, at = b](bool above, Nanos first, Nanos last) {
      bounds_[at].seen(above, first, last, history_);
    });
  }
}

// The lamps went from one window's picture to another's.
void Judge::Impl::see_change(std::size_t from_window, std::size_t to_window, Nanos at) {
  clear_changes_.push_back(at);
  const auto [low, high] = std::minmax(from_window, to_window);
  for (std::size_t b = low + 1; b <= high; ++b) {
    if (reading_.look_alike(b - 1, b) || BlinkBoundary::is_one(reading_, b)) continue;
    bounds_[b].lost();
    if (is_disturbed(at - gauge_.tolerance.response_to, at)) continue;
    bounds_[b].seen(to_window < from_window, at, at, history_);
    bounds_[b].seen(to_window > from_window, at, at, history_);
  }
}

bool Judge::Impl::saw_clearly(Nanos at) const {
  return std::binary_search(clear_changes_.begin(), clear_changes_.end(), at);
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
    if (!setup_.what.transitions || (early && undisturbed(out.at, d.earliest) < Settling::invisible))
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

// Chatter looks back to where a boundary opened; a fit to before the change.
void Judge::Impl::forget(Nanos now) {
  const Nanos reach_back = 2 * gauge_.tolerance.response_to + ns_per_s;
  if (!history_.any_before(now - reach_back)) return;
  Nanos keep = now;
  for (std::size_t b = 1; b <= gauge_.boundaries(); ++b)
    if (boundary_open(b)) keep = std::min(keep, crossings_.open_since(b));
  // A stretch that proves a side may be as long as the slowest blink.
  if (!blink_boundaries_.empty())
    keep =
        std::min(keep, now - from_seconds(1 / std::max(gauge_.blink->hz - gauge_.tolerance.blink_hz, 0.05)));
  history_.forget_before(keep - reach_back);
  while (!clear_changes_.empty() && clear_changes_.front() < keep - reach_back) clear_changes_.pop_front();
}

void Judge::Impl::take_chatter() {
  for (const Chatter& chatter : crossings_.chatter) {
    // Each time that the profile turned, one more move is the unit's right; and so is the
    // way back from where a disturbance left it.
    std::size_t right =
        1 + history_.turns_between(chatter.open_since - gauge_.tolerance.response_to, chatter.open_until);
    std::size_t moves = chatter.moves;
    if (is_disturbed(chatter.open_since, chatter.open_until)) {
      moves = 0;
      for (const Nanos at : chatter.at) moves += !is_disturbed(at, at + 1);
      const auto first = std::lower_bound(disturbed_.begin(), disturbed_.end(), chatter.open_since,
                                          [](const auto& span, Nanos t) { return span.second < t; });
      const auto last = std::upper_bound(disturbed_.begin(), disturbed_.end(), chatter.open_until,
                                         [](Nanos t, const auto& span) { return t < span.first; });
      right += static_cast<std::size_t>(std::max<std::ptrdiff_t>(0, last - first));
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
void Judge::on_reach(std::function<void(const Reach&)> sink) { impl_->on_reach(std::move(sink)); }
RunResult Judge::finish(Nanos until, bool complete) { return impl_->finish(until, complete); }

}  // namespace tachproof
