// Is the board's clock as good as a crystal's? Told by the host's clock, which
// is no standard but good enough to find out a ceramic resonator.
#pragma once

#include <optional>

#include "core/base/time.h"

namespace tachproof {

// Readings of both clocks come together, the host's late by however long the
// board's took to be heard: never early. The least late of two seconds counts.
class ClockCheck {
 public:
  // A pair of readings, in time order.
  void reading(Nanos host, Nanos board);

  // The board's relative error (positive: fast) once it is known to be beyond
  // a crystal's.
  std::optional<double> bad_by() const { return bad_by_; }

  static constexpr Nanos window = 2 * ns_per_s;
  static constexpr Nanos shortest = 10 * ns_per_s;  // between the two windows compared
  static constexpr Nanos jitter = 5 * ns_per_ms;    // of the least late reading
  static constexpr double limit = 500e-6;

 private:
  struct Window {
    Nanos from = 0;
    Nanos least_late = 0;  // host minus board
  };
  void close(const Window& window);

  std::optional<Window> first_, open_;
  std::optional<double> bad_by_;
};

}  // namespace tachproof
