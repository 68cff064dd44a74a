// Sums and differences of Instants, in nanoseconds.
#pragma once

#include "core/base/wide.h"
#include "core/signal/profile.h"

namespace tachproof {

// `ns` may have either sign; |ns| < 9e18.
inline Instant later(const Instant& start, const Wide& ns) {
  const Wide whole = floor(ns);
  const Wide frac = (ns - whole) + start.frac_ns;  // 0 <= frac < 2
  Instant at{start.whole + static_cast<Nanos>(whole.hi) + static_cast<Nanos>(whole.lo), frac.hi};
  if (at.frac_ns >= 1) {
    at.frac_ns -= 1;
    ++at.whole;
  }
  return at;
}

// a - b
inline Wide ns_between(const Instant& b, const Instant& a) {
  const Nanos whole = a.whole - b.whole;
  const double hi = static_cast<double>(whole);
  return ordered_sum(hi, static_cast<double>(whole - static_cast<Nanos>(hi))) + (a.frac_ns - b.frac_ns);
}

}  // namespace tachproof
