// Double-double arithmetic: about 31 digits from pairs of doubles.
//
// Phases and instants of long profiles need more digits than a double has: a
// day holds 1.7e9 pulses, and a slow pulse after them still wants its
// picosecond. Used once per segment or block of pulses, never per pulse.
// Formulas: T. J. Dekker, Numer. Math. 18 (1971) 224-242.
#pragma once

#include <cmath>

namespace tachproof {

struct Wide {
  double hi = 0;
  double lo = 0;  // |lo| <= ulp(hi) / 2

  Wide() = default;
  Wide(double h, double l = 0) : hi(h), lo(l) {}  // NOLINT: every double is a Wide
};

// a + b without loss; `ordered` needs |a| >= |b|.
inline Wide exact_sum(double a, double b) {
  const double s = a + b;
  const double t = s - a;
  return {s, (a - (s - t)) + (b - t)};
}
inline Wide ordered_sum(double a, double b) {
  const double s = a + b;
  return {s, b - (s - a)};
}
inline Wide exact_product(double a, double b) {
  const double p = a * b;
  return {p, std::fma(a, b, -p)};
}

inline Wide operator-(const Wide& a) { return {-a.hi, -a.lo}; }
inline Wide operator+(const Wide& a, const Wide& b) {
  const Wide hi = exact_sum(a.hi, b.hi);
  const Wide lo = exact_sum(a.lo, b.lo);
  const Wide sum = ordered_sum(hi.hi, hi.lo + lo.hi);
  return ordered_sum(sum.hi, sum.lo + lo.lo);
}
inline Wide operator-(const Wide& a, const Wide& b) { return a + -b; }
inline Wide operator*(const Wide& a, const Wide& b) {
  const Wide p = exact_product(a.hi, b.hi);
  return ordered_sum(p.hi, p.lo + (a.hi * b.lo + a.lo * b.hi));
}
inline Wide operator/(const Wide& a, const Wide& b) {
  const double q1 = a.hi / b.hi;
  Wide rest = a - b * q1;
  const double q2 = rest.hi / b.hi;
  rest = rest - b * q2;
  return ordered_sum(q1, q2) + rest.hi / b.hi;
}

// a >= 0
inline Wide sqrt(const Wide& a) {
  if (!(a.hi > 0)) return {};
  const double root = std::sqrt(a.hi);
  return ordered_sum(root, (a - exact_product(root, root)).hi / (2 * root));
}

// The whole part as Wide (not rounded to double's 53 bits).
inline Wide floor(const Wide& a) {
  const double hi = std::floor(a.hi);
  return hi == a.hi ? ordered_sum(hi, std::floor(a.lo)) : Wide{hi};
}

inline bool operator<(const Wide& a, const Wide& b) { return a.hi < b.hi || (a.hi == b.hi && a.lo < b.lo); }

}  // namespace tachproof
