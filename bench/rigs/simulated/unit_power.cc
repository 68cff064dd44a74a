#include "bench/rigs/simulated/unit_power.h"

#include <algorithm>
#include <cmath>

namespace tachproof {

UnitPower::UnitPower(const UnitSettings& settings, std::uint64_t seed)
    : settings_(settings), random_(seed, 5), resets_(settings.resets.begin(), settings.resets.end()) {
  std::sort(resets_.begin(), resets_.end(), [](const Reset& a, const Reset& b) { return a.at < b.at; });
  if (settings_.boots_first) boot(boot_time());
}

void UnitPower::cut(Nanos at, Nanos lasts) { cuts_.push_back({at, at + std::max<Nanos>(lasts, 1)}); }

void UnitPower::feed(const Supply& supply, Nanos at) {
  while (!edges_.empty() && edges_.back().at >= at) edges_.pop_back();
  while (!fed_.empty() && fed_.back().first >= at) fed_.pop_back();
  fed_.emplace_back(at, supply);
  const double lowest = settings_.lowest_v;
  edges_.push_back({at, supply.from_v < lowest});
  if ((supply.from_v < lowest) == (supply.to_v < lowest)) return;
  const double share = (lowest - supply.from_v) / (supply.to_v - supply.from_v);
  edges_.push_back({at + std::llround(share * static_cast<double>(supply.lasts)), supply.to_v < lowest});
}

double UnitPower::volts_at(Nanos t) const {
  const auto next =
      std::upper_bound(fed_.begin(), fed_.end(), t, [](Nanos at, const auto& one) { return at < one.first; });
  if (next == fed_.begin()) return std::nan("");
  const auto& [at, supply] = *std::prev(next);
  const double share =
      supply.lasts > 0 ? std::min(static_cast<double>(t - at) / static_cast<double>(supply.lasts), 1.0) : 1.0;
  return supply.from_v + share * (supply.to_v - supply.from_v);
}

Nanos UnitPower::next() const {
  Nanos t = until_;
  if (!cuts_.empty()) t = std::min(t, cuts_.front().from);
  if (cut_) t = std::min(t, cut_until_);
  if (!edges_.empty()) t = std::min(t, edges_.front().at);
  if (low_ && state_ != State::off) t = std::min(t, low_since_ + settings_.holds);
  if (!resets_.empty()) t = std::min(t, resets_.front().at);
  return t;
}

bool UnitPower::pass() {
  const Nanos t = next();
  const bool knew = runs();
  bool lost = false;
  wait_for_edges(t);
  if (cut_ || too_long(t)) {
    lost = knew;
    stays_off_ = !cut_ && settings_.stays_off;
    state_ = State::off;
    until_ = never;
  } else if (state_ == State::off && !low_ && !stays_off_) {
    boot(t + boot_time());
  }
  for (; !resets_.empty() && resets_.front().at <= t; resets_.pop_front()) {
    if (state_ == State::off) continue;
    lost = lost || knew;
    const std::optional<Nanos>& told = resets_.front().boot;
    boot(t + std::max<Nanos>(told ? *told + settings_.boot_late : boot_time(), 1));
  }
  wake(t);
  return lost;
}

// Everything that the supply does until `t`, this instant included.
void UnitPower::wait_for_edges(Nanos t) {
  for (; !cuts_.empty() && cuts_.front().from <= t; cuts_.pop_front()) {
    cut_until_ = cut_ ? std::max(cut_until_, cuts_.front().to) : cuts_.front().to;
    cut_ = true;
  }
  if (cut_ && cut_until_ <= t) cut_ = false;
  for (; !edges_.empty() && edges_.front().at <= t; edges_.pop_front()) {
    if (edges_.front().low && !low_) low_since_ = edges_.front().at;
    low_ = edges_.front().low;
  }
}

void UnitPower::wake(Nanos t) {
  if (state_ == State::booting && until_ <= t) {
    state_ = greets() ? State::greeting : State::awake;
    until_ = greets() ? until_ + settings_.gauge.power_up->greets->lasts : never;
  }
  if (state_ == State::greeting && until_ <= t) {
    state_ = State::awake;
    until_ = never;
  }
}

void UnitPower::boot(Nanos until) {
  state_ = State::booting;
  until_ = until;
}

Nanos UnitPower::boot_time() {
  const auto room = static_cast<double>(settings_.boot_to - settings_.boot_from);
  return settings_.boot_from + std::llround(room * random_.uniform(boots_++)) + settings_.boot_late;
}

}  // namespace tachproof
