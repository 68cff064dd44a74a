#include "core/judge/dimming.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>

namespace tachproof {
namespace {

constexpr Nanos longest_period = static_cast<Nanos>(1e9 / DimmingFilter::least_hz);

constexpr Nanos longest_glitch = 20 * ns_per_us;
// Lit without a gap for this long is not dimmed.
constexpr Nanos undimmed_after = 2 * longest_period;

bool agree(Nanos a, Nanos b) {
  const double longer = static_cast<double>(std::max(a, b));
  return std::abs(static_cast<double>(a - b)) <= DimmingFilter::agreement * longer;
}

// As the same PWM shows it again.
bool alike(Nanos span, Nanos known) {
  return std::abs(span - known) <= std::max<Nanos>(known / 100, 20 * ns_per_us);
}

}  // namespace

void DimmingFilter::add(std::span<const LampEvent> events, std::vector<LampEvent>& out) {
  for (std::size_t i = 0; i < events.size(); ++i) {
    i += go_on(events.subspan(i));
    if (i == events.size()) return;
    const LampEvent& event = events[i];
    if (!begun_) {
      begun_ = true;
      raw_ = filtered_ = event.lit;
      for (Channels left = raw_; left != 0; left &= left - 1) {
        Channel& channel = channels_[static_cast<std::size_t>(std::countr_zero(left))];
        channel.raw_on = true;
        channel.last_rise = event.at;
      }
      out.push_back(event);
      now_ = settled_until_ = event.at;
      continue;
    }
    time_passed(event.at);
    for (Channels left = raw_ ^ event.lit; left != 0; left &= left - 1) {
      const auto index = static_cast<std::uint32_t>(std::countr_zero(left));
      sift(index, event.at, (event.lit >> index) & 1);
    }
    raw_ = event.lit;
    now_ = event.at;
    if ((waiting_ | fresh_) == 0 || changes_.size() > 64) release(event.at, out);
  }
}

// Falls and rises in pairs that only go on with the dimming of the lamps that came on last, all of them in
// one rhythm: how many events from the front. A PWM gives hundreds of periods a second that are all alike, so
// what each asks of every lamp is asked of all at once; event by event it would come to the same.
std::size_t DimmingFilter::go_on(std::span<const LampEvent> events) {
  const Channels lamps = fresh_;
  if (lamps == 0 || waiting_ != lamps || changes_.size() > 64 || events.size() < 2) return 0;
  const Channel& first = channels_[static_cast<std::size_t>(std::countr_zero(lamps))];
  for (Channels left = lamps; left != 0; left &= left - 1) {
    const Channel& channel = channels_[static_cast<std::size_t>(std::countr_zero(left))];
    if (!channel.dimmed || !channel.fresh->on || channel.waiting.size() != 1) return 0;
    if (channel.last_rise != first.last_rise || channel.period != first.period ||
        channel.fresh->at != first.fresh->at || channel.waiting[0].at != first.waiting[0].at)
      return 0;
  }
  // Two periods: of the older one the fall is known to be dimming once the rise after it is no glitch.
  Nanos before = first.last_rise, fall = first.waiting[0].at, rise = first.fresh->at, period = first.period;
  Nanos gap = 0, lit = 0;
  const Nanos from = before;
  std::size_t taken = 0;
  for (; taken + 1 < events.size(); taken += 2) {
    const LampEvent &dark = events[taken], &bright = events[taken + 1];
    if (dark.lit != (raw_ & ~lamps) || bright.lit != raw_) break;
    if (dark.at - rise < longest_glitch || bright.at - dark.at < longest_glitch) break;
    const Nanos now = rise - before;
    if (!agree(now, period) || bright.at - rise > now + now / 2) break;
    period = now;
    gap = rise - fall;
    lit += fall - before;
    before = rise;
    fall = dark.at;
    rise = bright.at;
  }
  if (taken == 0) return 0;
  for (Channels left = lamps; left != 0; left &= left - 1) {
    Channel& channel = channels_[static_cast<std::size_t>(std::countr_zero(left))];
    channel.lit += lit;
    channel.dimmed_for += before - from;
    channel.periods += taken / 2;
    channel.period = channel.in_force = period;
    channel.gap = gap;
    channel.last_rise = before;
    channel.moved = channel.waiting[0].at = fall;
    channel.fresh->at = rise;
  }
  gap_ = gap;
  lit_ = period - gap;
  now_ = rise;
  return taken;
}

void DimmingFilter::seen_until(Nanos until, std::vector<LampEvent>& out) {
  time_passed(until);
  now_ = std::max(now_, until);
  release(until, out);
}

void DimmingFilter::finish(std::vector<LampEvent>& out) {
  for (Channels left = fresh_; left != 0; left &= left - 1)
    pass_fresh(static_cast<std::uint32_t>(std::countr_zero(left)));
  // What ends in the dark part of a period is lit, for all that is known.
  for (std::uint32_t i = 0; i < max_channels; ++i)
    if (!channels_[i].dimmed) let_go(channels_[i], i, channels_[i].waiting.size());
  release(std::numeric_limits<Nanos>::max(), out);
  settled_until_ = now_;
}

// Holds an edge back until it is known to be more than a glitch.
void DimmingFilter::sift(std::uint32_t index, Nanos at, bool on) {
  Channel& channel = channels_[index];
  if (channel.fresh && is_glitch(channel, at - channel.fresh->at)) {
    ++glitches_;
    channel.fresh.reset();
    fresh_ &= ~(Channels{1} << index);
    return;
  }
  if (channel.fresh) pass_fresh(index);
  channel.fresh = Edge{at, on};
  fresh_ |= Channels{1} << index;
}

bool DimmingFilter::is_glitch(Channel& channel, Nanos width) const {
  if (width >= longest_glitch) return false;
  constexpr Nanos much = 5;
  const bool own = channel.period != 0;
  if (own || gap_ != 0) {
    const Nanos gap = own ? channel.gap : gap_, lit = own ? channel.period - channel.gap : lit_;
    return width < std::min(gap, lit) / much;
  }
  constexpr Nanos rest = 20, least_share = 100;
  constexpr int row = 8;
  const Nanos spacing = channel.fresh->at - channel.last_glitch;
  const bool again =
      spacing <= longest_period && agree(spacing, channel.glitch_spacing) && width * least_share >= spacing;
  channel.regular_glitches = again ? channel.regular_glitches + 1 : 0;
  channel.glitch_spacing = spacing;
  channel.last_glitch = channel.fresh->at;
  return channel.fresh->at - channel.moved >= rest * width && channel.regular_glitches < row;
}

void DimmingFilter::pass_fresh(std::uint32_t index) {
  Channel& channel = channels_[index];
  const Edge fresh = *channel.fresh;
  channel.fresh.reset();
  fresh_ &= ~(Channels{1} << index);
  channel.moved = fresh.at;
  edge(index, fresh.at, fresh.on);
}

void DimmingFilter::time_passed(Nanos now) {
  for (Channels left = fresh_; left != 0; left &= left - 1) {
    const auto index = static_cast<std::uint32_t>(std::countr_zero(left));
    if (now - channels_[index].fresh->at >= longest_glitch) pass_fresh(index);
  }
  for (Channels left = waiting_; left != 0; left &= left - 1) {
    const auto index = static_cast<std::uint32_t>(std::countr_zero(left));
    const Channel& channel = channels_[index];
    time_out(index, channel.fresh ? channel.fresh->at : now);
  }
}

void DimmingFilter::edge(std::uint32_t index, Nanos at, bool on) {
  Channel& channel = channels_[index];
  channel.raw_on = on;
  if (channel.dimmed) {
    if (on && agree(at - channel.last_rise, channel.period)) {
      // One more period: the falling edge in it was dimming.
      channel.lit += channel.waiting.front().at - channel.last_rise;
      channel.dimmed_for += at - channel.last_rise;
      ++channel.periods;
      channel.period = at - channel.last_rise;
      channel.last_rise = at;
      channel.in_force = channel.period;
      gap_ = channel.gap = at - channel.waiting.front().at;
      lit_ = channel.period - gap_;
      channel.waiting.clear();
      waiting_ &= ~(Channels{1} << index);
      return;
    }
    if (!on) {
      channel.waiting.push_back({at, false});
      waiting_ |= Channels{1} << index;
      return;
    }
    end_dimming(channel, index, at);  // the rhythm broke: that fall was real
  }
  if (channel.waiting.empty()) {
    if (on) {
      changes_.push_back({at, index, true});
      channel.last_rise = at;
    } else {
      if (at - channel.last_rise > undimmed_after) channel.in_force = 0;
      channel.waiting.push_back({at, false});
      waiting_ |= Channels{1} << index;
    }
    return;
  }
  channel.waiting.push_back({at, on});
  if (!on) return;
  // waiting: fall, rise, fall, rise, ... since last_rise. What is no part of a
  // regular train is let go; the next gap may begin one.
  while (!channel.waiting.empty()) {
    const std::size_t gaps = channel.waiting.size() / 2;
    const bool by_rises = regular(channel, true), by_falls = regular(channel, false);
    if ((by_rises && gaps >= 3) || (by_falls && gaps >= 4)) return begin_dimming(channel, index, by_rises);
    if (by_rises || by_falls) return;
    const Nanos rise = channel.waiting[1].at;
    let_go(channel, index, 2);
    channel.last_rise = rise;
  }
}

// All periods agree and are short: from rise to rise, the lamp's coming on
// the first, or from fall to fall, for a lamp that came on in the middle of a period.
bool DimmingFilter::regular(const Channel& channel, bool by_rises) {
  Nanos before = by_rises ? channel.last_rise : channel.waiting[0].at, period = 0;
  for (std::size_t k = by_rises ? 1 : 2; k < channel.waiting.size(); k += 2) {
    const Nanos now = channel.waiting[k].at - before;
    if (now > longest_period || (period != 0 && !agree(now, period))) return false;
    period = now;
    before = channel.waiting[k].at;
  }
  return true;
}

void DimmingFilter::begin_dimming(Channel& channel, std::uint32_t index, bool by_rises) {
  const std::vector<Edge>& edges = channel.waiting;
  channel.dimmed = true;
  // A first period that is cut short tells no level.
  std::size_t next = by_rises ? 0 : 2;
  Nanos before = by_rises ? channel.last_rise : edges[1].at;
  for (; next < edges.size(); next += 2) {
    channel.lit += edges[next].at - before;
    channel.dimmed_for += edges[next + 1].at - before;
    ++channel.periods;
    channel.period = edges[next + 1].at - before;
    before = edges[next + 1].at;
  }
  channel.last_rise = before;
  channel.in_force = channel.period;
  gap_ = channel.gap = edges[edges.size() - 1].at - edges[edges.size() - 2].at;
  lit_ = channel.period - gap_;
  channel.waiting.clear();
  waiting_ &= ~(Channels{1} << index);
}

// It went out at its last fall or, after a whole pulse, at any time before the next
// was due: then, so that lamps that go out and on in one gap do so together.
void DimmingFilter::end_dimming(Channel& channel, std::uint32_t index, Nanos now) {
  channel.dimmed = false;
  Nanos& fall = channel.waiting.front().at;
  const bool whole = alike(fall - channel.last_rise, channel.period - channel.gap);
  if (whole && fall + channel.gap <= now) fall += channel.gap;
  let_go(channel, index, channel.waiting.size());
}

// A fall that no rise has followed in time was the lamp going out.
void DimmingFilter::time_out(std::uint32_t index, Nanos now) {
  Channel& channel = channels_[index];
  if (channel.waiting.empty()) return;
  if (channel.dimmed) {
    if (now - channel.last_rise > channel.period + channel.period / 2) end_dimming(channel, index, now);
    return;
  }
  const bool dark = !channel.waiting.back().on;
  const Nanos since = channel.waiting.back().at;
  if (now - since <= longest_period) return;
  let_go(channel, index, channel.waiting.size());
  if (!dark) channel.last_rise = since;
}

void DimmingFilter::let_go(Channel& channel, std::uint32_t index, std::size_t count) {
  for (std::size_t k = 0; k < count; ++k) {
    const Edge& edge = channel.waiting[k];
    // Too few gaps for a train, but each as long as those of this unit's dimming.
    if (!edge.on && k + 1 < count && gap_ != 0 && alike(channel.waiting[k + 1].at - edge.at, gap_)) {
      ++k;
      continue;
    }
    changes_.push_back({edge.at, index, edge.on});
  }
  channel.waiting.erase(channel.waiting.begin(),
                        channel.waiting.begin() + static_cast<std::ptrdiff_t>(count));
  if (channel.waiting.empty()) waiting_ &= ~(Channels{1} << index);
}

void DimmingFilter::release(Nanos until, std::vector<LampEvent>& out) {
  for (Channels left = waiting_; left != 0; left &= left - 1) {
    const Channel& channel = channels_[static_cast<std::size_t>(std::countr_zero(left))];
    until = std::min(until, channel.waiting.front().at - 1);
  }
  for (Channels left = fresh_; left != 0; left &= left - 1)
    until = std::min(until, channels_[static_cast<std::size_t>(std::countr_zero(left))].fresh->at - 1);
  // Held-back edges of one channel may precede later ones of another.
  const auto earlier = [](const Change& a, const Change& b) { return a.at < b.at; };
  if (!std::is_sorted(changes_.begin(), changes_.end(), earlier))
    std::stable_sort(changes_.begin(), changes_.end(), earlier);
  std::size_t done = 0;
  while (done < changes_.size() && changes_[done].at <= until) {
    const Nanos at = changes_[done].at;
    for (; done < changes_.size() && changes_[done].at == at; ++done) {
      const Channels bit = Channels{1} << changes_[done].channel;
      filtered_ = changes_[done].on ? filtered_ | bit : filtered_ & ~bit;
    }
    out.push_back({at, filtered_});
  }
  changes_.erase(changes_.begin(), changes_.begin() + static_cast<std::ptrdiff_t>(done));
  if (until != std::numeric_limits<Nanos>::max()) settled_until_ = std::max(settled_until_, until);
}

Nanos DimmingFilter::slack() const {
  Nanos longest = 0;
  for (const Channel& channel : channels_) {
    const bool lit = channel.raw_on && !channel.dimmed && channel.waiting.empty();
    if (!lit || now_ - channel.last_rise <= undimmed_after) longest = std::max(longest, channel.in_force);
  }
  return longest;
}

DimmingFilter::Dimming DimmingFilter::dimming(std::size_t index) const {
  const Channel& channel = channels_.at(index);
  if (channel.periods == 0) return {};
  const auto total = static_cast<double>(channel.dimmed_for);
  return {static_cast<double>(channel.lit) / total, static_cast<double>(channel.periods) * 1e9 / total};
}

}  // namespace tachproof
