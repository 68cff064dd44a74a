#include "core/judge/state_judge.h"

#include <cmath>

#include "core/judge/state_judge_impl.h"

namespace tachproof {
namespace {

constexpr Nanos longest_late = 30 * ns_per_s;  // a unit that wakes is watched for so long

}  // namespace

StateJudge::Impl::Impl(const Gauge& gauge, const JudgeSetup& setup)
    : gauge_(gauge),
      setup_(setup),
      wired_(setup.wired & gauge.all_channels()),
      follower_(gauge),
      history_(1.0) {
  StateSpell& first = spells_.emplace_back();
  first.ways.push_back({{follower_}, {}, {}});
  first.ways.front().judge.emplace(gauge, setup);
}

void StateJudge::Impl::rpm(const Segment& segment) {
  settle_supply(segment.start.whole);
  history_.add(segment);
  peaks_.rpm(segment);
  StateSpell& now = spells_.back();
  if (is_open(spells_.size() - 1)) each_of(now, [&](Judge& judge) { judge.rpm(segment); });
  if (&now != &spells_.front() && (segment.start.whole < now.judged_from || is_judged_again(now)))
    now.segments.push_back(segment);
  recent_.push_back(segment);
  while (recent_.size() > 1 && recent_[1].start.whole < segment.start.whole - recent()) recent_.pop_front();
  history_.forget_before(segment.start.whole - recent());
}

void StateJudge::Impl::lamps(std::span<const LampEvent> events) {
  if (!events.empty()) settle_supply(events.back().at);
  while (!events.empty()) {
    if (current_ + 1 < spells_.size() && events.front().at >= spells_[current_].to) {
      end_spell();
      continue;
    }
    StateSpell& spell = spells_[current_];
    const bool gap = events.front().at < spell.lamps_from();
    const Nanos until = gap ? std::min(spell.lamps_from(), spell.to) : spell.to;
    const auto last =
        std::find_if(events.begin(), events.end(), [&](const LampEvent& event) { return event.at >= until; });
    const std::span<const LampEvent> part(events.begin(), last);
    if (spell.gap && part.front().at < spell.judged_from) spell.gap->lamps(part);
    if (spell.fed) spell.fed->lamps(part);
    if (is_judged_again(spell)) spell.lamps.insert(spell.lamps.end(), part.begin(), part.end());
    changed_ = changed_ || (any_lamps_ && part.front().lit != lit_) ||
               std::adjacent_find(part.begin(), part.end(), [](const LampEvent& a, const LampEvent& b) {
                 return a.lit != b.lit;
               }) != part.end();
    if (gap) {
      for (const LampEvent& event : part) see_in_gap(spell, event);
    } else {
      begin_lamps(spell);
      // A unit that wakes late is still watched.
      if (spell.power && part.front().at < spell.judged_from + longest_late)
        for (const LampEvent& event : part) spell.power->lamps(event);
      for (const LampEvent& event : part) note_lit(spell, event);
      each_of(spell, [&](Judge& judge) { judge.lamps(part); });
    }
    lit_ = part.back().lit;
    any_lamps_ = true;
    events = events.subspan(part.size());
  }
}

void StateJudge::Impl::seen_until(Nanos until) {
  settle_supply(until);
  while (current_ + 1 < spells_.size() && until >= spells_[current_].to) end_spell();
  StateSpell& spell = spells_[current_];
  if (until < spell.lamps_from()) return;
  begin_lamps(spell);
  each_of(spell, [&](Judge& judge) { judge.seen_until(until); });
}

void StateJudge::Impl::disturbed(Nanos from, Nanos to) {
  disturbances_.emplace_back(from, to);
  for (StateSpell& spell : spells_) disturb(spell, from, to);
}

void StateJudge::Impl::unsure_blinks(Channels channels) {
  unsure_ |= channels;
  each([&](Judge& judge) { judge.unsure_blinks(channels); });
}

void StateJudge::Impl::untimed(const std::string& why) {
  if (untimed_.empty()) untimed_ = why;
  each([&](Judge& judge) { judge.untimed(why); });
}

void StateJudge::Impl::stamps(const StampTimes& stamps) {
  stamps_ = stamps;
  each([&](Judge& judge) { judge.stamps(stamps); });
}

void StateJudge::Impl::lights(std::span<const SeenLight> lights) {
  for (const SeenLight& light : lights) {
    auto spell = spells_.rbegin();
    while (spell->from > light.at && std::next(spell) != spells_.rend()) ++spell;
    spell->lights.add(light, spell->judged_from);
  }
}

void StateJudge::Impl::on_finding(std::function<void(const Finding&)> sink) {
  finding_sink_ = std::move(sink);
  first().on_finding(finding_sink_);
}

void StateJudge::Impl::on_reach(std::function<void(const Reach&)> sink) {
  sink_ = std::move(sink);
  if (sink_) first().on_reach(sink_of(0));
}

RunResult StateJudge::Impl::finish(Nanos until, bool complete) {
  settle_supply(until);
  if (spells_.back().fed && spells_.back().answered == never) close_supply(spells_.back(), until);
  while (current_ + 1 < spells_.size() && until >= spells_[current_].to) end_spell();
  StateSpell& last = spells_[current_];
  if (until >= last.lamps_from()) begin_lamps(last);
  spells_.back().to = until;
  finish_spell(last, until, complete);
  while (current_ + 1 < spells_.size()) {
    go_on();
    finish_spell(spells_[current_], until, complete);
  }
  finish_spell(spells_.front(), until, complete);
  find_drift(until, complete);
  return joined_results(gauge_, setup_, spells_, until, complete);
}

std::function<void(const Reach&)> StateJudge::Impl::sink_of(std::size_t spell) {
  return [this, spell](const Reach& reach) {
    if (current_ == spell && reach.from < spells_[spell].to) sink_(reach);
  };
}

Gauge StateJudge::Impl::judged_gauge(const UnitState& state) const {
  Gauge gauge = state.gauge;
  gauge.tolerance.rpm += state.doubt_rpm;
  gauge.buttons.clear();
  gauge.power_up.reset();
  return gauge;
}

void StateJudge::Impl::begin_spell(StateSpell spell, Nanos at) {
  // A person who never said that he had pressed: nobody can say what the unit does since.
  if (spells_.back().fed && spells_.back().answered == never) close_supply(spells_.back(), at);
  released(at);
  if (std::isnan(spell.fed_v) && volts_) spell.fed_v = *volts_;
  StateSpell& before = spells_.back();
  if (before.awake == never) {  // the same of a supply that nobody says is back
    before.awake = at;
    for (JudgedWay& way : before.ways) way.unit.awake_by(at);
  }
  before.to = at;
  spell.from = at;
  spell.judged_from = never;
  // A step that begins between two nanoseconds was told before what happens at its beginning.
  const auto goes_on = std::find_if(recent_.begin(), recent_.end(), [&](const Segment& segment) {
    return segment.start.whole + from_seconds(segment.lasts_s) > at + 1;
  });
  spell.before.assign(recent_.begin(), goes_on);
  spell.segments.assign(goes_on, recent_.end());
  spells_.push_back(std::move(spell));
}

void StateJudge::Impl::disturb(StateSpell& spell, Nanos from, Nanos to) {
  if (to <= spell.judged_from || from >= spell.to) return;
  each_of(spell, [&](Judge& judge) { judge.disturbed(std::max(from, spell.judged_from), to); });
}

void StateJudge::Impl::begin_lamps(StateSpell& spell) {
  if (spell.lamps_begun || current_ == 0 || !any_lamps_) return;
  spell.lamps_begun = true;
  const LampEvent first{spell.lamps_from(), lit_};
  note_lit(spell, first);
  each_of(spell, [&](Judge& judge) { judge.lamps({&first, 1}); });
}

void StateJudge::Impl::note_lit(StateSpell& spell, const LampEvent& event) {
  constexpr Nanos longer = 60 * ns_per_ms;
  for (std::size_t c = 0; c < gauge_.channels(); ++c) {
    const Channels bit = Channels{1} << c & wired_;
    if ((spell.lit_now & bit) != 0 && event.at - spell.lit_since[c] >= longer) spell.lit_long |= bit;
    if ((event.lit & bit) != 0 && (spell.lit_now & bit) == 0) spell.lit_since[c] = event.at;
  }
  spell.lit_now = event.lit & wired_;
}

void StateJudge::Impl::see_in_gap(StateSpell& spell, const LampEvent& event) {
  if (spell.power) {
    if (!spell.gap_begun) spell.power->lamps({spell.from, lit_});
    spell.power->lamps(event);
  }
  spell.gap_begun = true;
  if (spell.what == StateSpell::What::take && std::isnan(spell.press.reaction_ms) && event.lit != lit_)
    spell.press.reaction_ms = to_ms(event.at - spell.from);
}

void StateJudge::Impl::end_spell() {
  StateSpell& spell = spells_[current_];
  if (spell.to >= spell.lamps_from()) begin_lamps(spell);
  each_of(spell, [&](Judge& judge) { judge.seen_until(spell.to); });
  if (current_ > 0) finish_spell(spell, spell.to, true);
  go_on();
}

void StateJudge::Impl::finish_spell(StateSpell& spell, Nanos until, bool complete) {
  if (spell.ended) return;
  spell.ended = true;
  const Nanos end = std::max(std::min(spell.to, until), spell.from);
  note_lit(spell, {end, spell.lit_now});
  spell.seen =
      &spell == &spells_.front() || (spell.judged_from != never && end >= spell.judged_from + least_judged);
  for (JudgedWay& way : spell.ways)
    if (way.judge) {
      way.result = way.judge->finish(end, complete);
      way.judge.reset();
    }
  if (spell.power) {
    spell.woke = spell.power->finish(end, spell.dark_cue, spell.power_findings);
    doubt_the_cut(spell, spell.power->not_seen_cut(end));
    wait_for(spell, end, complete);
    dark_at_v_.reset();
  }
  if (spell.fed) look_at_supply(spell, end, complete);
  if (spell.seen && spell.way().result) choose(spell, end, complete);
  if (spell.gap && changed_ && setup_.what.steady) look_at_gap(spell, end);
  spell.gap.reset();
  spell.segments.clear();
  spell.lamps.clear();
}

StateJudge::StateJudge(const Gauge& gauge, const JudgeSetup& setup)
    : impl_(std::make_unique<Impl>(gauge, setup)) {}
StateJudge::~StateJudge() = default;
StateJudge::StateJudge(StateJudge&&) noexcept = default;
void StateJudge::rpm(const Segment& segment) { impl_->rpm(segment); }
void StateJudge::lamps(std::span<const LampEvent> events) { impl_->lamps(events); }
void StateJudge::seen_until(Nanos until) { impl_->seen_until(until); }
void StateJudge::disturbed(Nanos from, Nanos to) { impl_->disturbed(from, to); }
void StateJudge::answered(const AnswerResult& answer) { impl_->answered(answer); }
void StateJudge::found(const Finding& finding) { impl_->found(finding); }
void StateJudge::lost(std::uint64_t count) { impl_->lost(count); }
void StateJudge::pulses(std::uint64_t count) { impl_->pulses(count); }
void StateJudge::unsure_blinks(Channels channels) { impl_->unsure_blinks(channels); }
void StateJudge::untimed(const std::string& why) { impl_->untimed(why); }
void StateJudge::lights(std::span<const SeenLight> lights) { impl_->lights(lights); }
void StateJudge::stamps(const StampTimes& stamps) { impl_->stamps(stamps); }
void StateJudge::on_finding(std::function<void(const Finding&)> sink) { impl_->on_finding(std::move(sink)); }
void StateJudge::on_reach(std::function<void(const Reach&)> sink) { impl_->on_reach(std::move(sink)); }
void StateJudge::pressed(const std::string& action, Nanos at, Nanos lasts) {
  impl_->pressing(action, at);
  impl_->released(at + lasts);
}
void StateJudge::pressing(const std::string& action, Nanos at) { impl_->pressing(action, at); }
void StateJudge::released(Nanos by) { impl_->released(by); }
void StateJudge::power_off(Nanos at, Nanos lasts) { impl_->power_off(at, lasts); }
void StateJudge::supplied(const Supply& supply, Nanos at) { impl_->supplied(supply, at, false); }
void StateJudge::supplying(const Supply& supply, Nanos at) { impl_->supplied(supply, at, true); }
void StateJudge::supplied_by(Nanos by) { impl_->supplied_by(by); }
void StateJudge::takes_late(Nanos by) { impl_->takes_late(by); }
void StateJudge::cutting(Nanos at) { impl_->cutting(at); }
void StateJudge::cut(const PowerCut& cut) { impl_->cut(cut); }
std::vector<PeakSpan> StateJudge::peaks(Nanos t) const { return impl_->peaks(t); }
RunResult StateJudge::finish(Nanos until, bool complete) { return impl_->finish(until, complete); }

}  // namespace tachproof
