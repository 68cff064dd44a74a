#include "core/judge/blinks_apart.h"

#include <bit>

namespace tachproof {
namespace {

constexpr std::size_t most_kept = 1000;

}  // namespace

void BlinksApart::end() {
  if (now_ && now_->lasted > least_ && seen_.size() < most_kept) seen_.push_back(*now_);
  now_.reset();
}

void BlinksApart::span(Nanos from, Nanos to, std::optional<std::size_t> window, Channels blinking,
                       Channels lit) {
  if (!window || std::popcount(blinking) < 2) return end();
  blinked_for_ += to - from;
  const Channels on = lit & blinking;
  if (on == 0 || on == blinking) return end();
  apart_for_ += to - from;
  if (now_ && now_->window != *window) end();
  if (!now_) now_ = Seen{from, 0, *window, on, blinking & ~on};
  now_->lasted += to - from;
}

const std::vector<BlinksApart::Seen>& BlinksApart::seen() {
  end();
  if (never_together()) seen_.clear();
  return seen_;
}

}  // namespace tachproof
