#include "core/dimming.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>

namespace tachproof {
namespace {

constexpr Nanos longest_period = static_cast<Nanos>(1e9 / DimmingFilter::least_hz);

bool agree(Nanos a, Nanos b) {
  const double longer = static_cast<double>(std::max(a, b));
  return std::abs(static_cast<double>(a - b)) <= DimmingFilter::agreement * longer;
}

}  // namespace

void DimmingFilter::add(std::span<const LampEvent> events, std::vector<LampEvent>& out) {
  for (const LampEvent& event : events) {
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
    for (Channels left = waiting_; left != 0; left &= left - 1)
      time_out(static_cast<std::uint32_t>(std::countr_zero(left)), event.at);
    for (Channels left = raw_ ^ event.lit; left != 0; left &= left - 1) {
      const auto index = static_cast<std::uint32_t>(std::countr_zero(left));
      edge(index, event.at, (event.lit >> index) & 1);
    }
    raw_ = event.lit;
    now_ = event.at;
    if (waiting_ == 0 || changes_.size() > 64) release(event.at, out);
  }
}

void DimmingFilter::seen_until(Nanos until, std::vector<LampEvent>& out) {
  for (Channels left = waiting_; left != 0; left &= left - 1)
    time_out(static_cast<std::uint32_t>(std::countr_zero(left)), until);
  now_ = std::max(now_, until);
  release(until, out);
}

void DimmingFilter::finish(std::vector<LampEvent>& out) {
  for (std::uint32_t i = 0; i < max_channels; ++i) let_go(channels_[i], i, channels_[i].waiting.size());
  release(std::numeric_limits<Nanos>::max(), out);
  settled_until_ = now_;
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
      channel.waiting.clear();
      waiting_ &= ~(Channels{1} << index);
      return;
    }
    if (!on) {
      channel.waiting.push_back({at, false});
      waiting_ |= Channels{1} << index;
      return;
    }
    channel.dimmed = false;  // the rhythm broke: that fall was real
    let_go(channel, index, channel.waiting.size());
  }
  if (channel.waiting.empty()) {
    if (on) {
      changes_.push_back({at, index, true});
      channel.last_rise = at;
    } else {
      channel.waiting.push_back({at, false});
      waiting_ |= Channels{1} << index;
    }
    return;
  }
  channel.waiting.push_back({at, on});
  if (!on) return;
  // waiting: fall, rise, fall, rise, ... since last_rise. Three periods?
  const std::size_t rises = channel.waiting.size() / 2;
  Nanos before = channel.last_rise, period = 0;
  for (std::size_t k = 0; k < rises; ++k) {
    const Nanos rise = channel.waiting[2 * k + 1].at;
    if (rise - before > longest_period || (period != 0 && !agree(rise - before, period))) {
      // This gap is no part of a regular train; the next may begin one.
      let_go(channel, index, 2 * k + 2);
      channel.last_rise = rise;
      return;
    }
    period = rise - before;
    before = rise;
  }
  if (rises < 3) return;
  channel.dimmed = true;
  channel.period = period;
  before = channel.last_rise;
  for (std::size_t k = 0; k < rises; ++k) {
    channel.lit += channel.waiting[2 * k].at - before;
    before = channel.waiting[2 * k + 1].at;
  }
  channel.dimmed_for += before - channel.last_rise;
  channel.periods += rises;
  channel.last_rise = before;
  channel.waiting.clear();
  waiting_ &= ~(Channels{1} << index);
}

// A fall that no rise has followed in time was the lamp going out.
void DimmingFilter::time_out(std::uint32_t index, Nanos now) {
  Channel& channel = channels_[index];
  if (channel.waiting.empty()) return;
  if (channel.dimmed) {
    if (now - channel.last_rise <= channel.period + channel.period / 2) return;
    channel.dimmed = false;
    let_go(channel, index, channel.waiting.size());
    return;
  }
  const bool dark = !channel.waiting.back().on;
  const Nanos since = channel.waiting.back().at;
  if (now - since <= longest_period) return;
  if (!dark) channel.last_rise = channel.waiting.back().at;
  let_go(channel, index, channel.waiting.size());
}

void DimmingFilter::let_go(Channel& channel, std::uint32_t index, std::size_t count) {
  for (std::size_t k = 0; k < count; ++k)
    changes_.push_back({channel.waiting[k].at, index, channel.waiting[k].on});
  channel.waiting.erase(channel.waiting.begin(),
                        channel.waiting.begin() + static_cast<std::ptrdiff_t>(count));
  if (channel.waiting.empty()) waiting_ &= ~(Channels{1} << index);
}

void DimmingFilter::release(Nanos until, std::vector<LampEvent>& out) {
  for (Channels left = waiting_; left != 0; left &= left - 1) {
    const Channel& channel = channels_[static_cast<std::size_t>(std::countr_zero(left))];
    until = std::min(until, channel.waiting.front().at - 1);
  }
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

DimmingFilter::Dimming DimmingFilter::dimming(std::size_t index) const {
  const Channel& channel = channels_.at(index);
  if (channel.periods == 0) return {};
  const auto total = static_cast<double>(channel.dimmed_for);
  return {static_cast<double>(channel.lit) / total, static_cast<double>(channel.periods) * 1e9 / total};
}

}  // namespace tachproof
