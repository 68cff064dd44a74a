#include "core/recording/contact_bounce.h"

#include <algorithm>
#include <stdexcept>
#include <utility>

#include "core/signal/profile.h"

namespace tachproof {

ContactBounce::ContactBounce(double pulses_per_rev) {
  if (!(pulses_per_rev > 0))
    throw std::invalid_argument("contact bounce: pulses per revolution must be above 0");
  constexpr double share = 0.5;
  closer_than_ = from_seconds(share * 60 / (pulses_per_rev * Profile::max_rpm));
}

void ContactBounce::change(const LineChange& change) {
  if (burst_ && (change.at - burst_->to >= closer_than_ || change.at - burst_->from >= 2 * closer_than_))
    close();
  if (!burst_) burst_ = Burst{change.at, change.at, !change.active, 0, 0};
  burst_->to = change.at;
  if (change.active && burst_->edges++ == 0) burst_->first_edge = change.at;
  active_ = change.active;
  seen_until_ = std::max(seen_until_, change.at);
}

void ContactBounce::seen_until(Nanos until) {
  if (burst_ && until - burst_->to >= closer_than_) close();
  seen_until_ = std::max(seen_until_, until);
}

void ContactBounce::finish() {
  if (burst_) close();
}

void ContactBounce::close() {
  const Burst burst = *std::exchange(burst_, std::nullopt);
  const bool only_ended = burst.began_active && !active_;
  const bool near = last_pulse_ && burst.first_edge - *last_pulse_ < closer_than_;
  if (burst.edges == 0) return;
  left_out_ += burst.edges;
  if (only_ended || near) {
    bounced_.push_back(burst.first_edge);
    return;
  }
  --left_out_;
  if (burst.edges > 1) bounced_.push_back(burst.first_edge);
  last_pulse_ = burst.first_edge;
  pulses_.push_back(burst.first_edge);
}

std::vector<Nanos> ContactBounce::take() { return std::exchange(pulses_, {}); }

std::vector<Nanos> ContactBounce::take_bounced() { return std::exchange(bounced_, {}); }

}  // namespace tachproof
