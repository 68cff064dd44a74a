#include "bench/rigs/board/clock_check.h"

#include <algorithm>
#include <cmath>

namespace tachproof {

void ClockCheck::reading(Nanos host, Nanos board) {
  if (open_ && host >= open_->from + window) {
    close(*open_);
    open_.reset();
  }
  if (!open_) open_ = Window{host, host - board};
  open_->least_late = std::min(open_->least_late, host - board);
}

void ClockCheck::close(const Window& now) {
  if (!first_) {
    first_ = now;
    return;
  }
  const Nanos between = now.from - first_->from;
  if (between < shortest) return;
  const auto ahead = static_cast<double>(first_->least_late - now.least_late);
  const double allowed = static_cast<double>(jitter) + limit * static_cast<double>(between);
  if (std::abs(ahead) > allowed) bad_by_ = ahead / static_cast<double>(between);
}

}  // namespace tachproof
