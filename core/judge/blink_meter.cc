#include "core/judge/blink_meter.h"

#include <algorithm>

namespace tachproof {

void BlinkMeter::enter(Nanos at, bool lit) {
  inside_ = true;
  lit_ = lit;
  entered_ = last_change_ = at;
  lit_for_ = 0;
  rises_.last = falls_.last = -1;
}

void BlinkMeter::still_until(Nanos at) {
  if (at - last_change_ > longest_still_) {
    longest_still_ = at - last_change_;
    longest_still_at_ = last_change_;
  }
}

void BlinkMeter::change(Nanos at, bool lit) {
  if (!inside_ || lit == lit_) return;
  still_until(at);
  if (lit_) lit_for_ += at - last_change_;
  last_change_ = at;
  lit_ = lit;
  Train& train = lit ? rises_ : falls_;
  Nanos& lit_before = lit ? lit_at_rise_ : lit_at_fall_;
  if (train.last >= 0) {
    const Nanos period = at - train.last;
    train.total += period;
    train.lit += lit_for_ - lit_before;
    ++train.periods;
    shortest_ = shortest_ == 0 ? period : std::min(shortest_, period);
    longest_ = std::max(longest_, period);
  }
  train.last = at;
  lit_before = lit_for_;
}

void BlinkMeter::leave(Nanos at) {
  if (!inside_) return;
  still_until(at);
  watched_ += at - entered_;
  inside_ = false;
}

int BlinkMeter::cycles() const { return longer().periods; }

double BlinkMeter::hz() const { return longer().periods / to_seconds(longer().total); }

double BlinkMeter::duty() const {
  return static_cast<double>(longer().lit) / static_cast<double>(longer().total);
}

}  // namespace tachproof
