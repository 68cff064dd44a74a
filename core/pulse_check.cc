#include "core/pulse_check.h"

#include <cmath>
#include <utility>

namespace tachproof {
namespace {

// How alike two intervals must be: a firing pattern and a hard ramp stay
// within it, a lost or an extra pulse does not.
constexpr double alike = 0.2;

bool near(double a, double b) { return std::abs(a - b) <= alike * b; }

}  // namespace

void PulseCheck::edge(Nanos at) {
  waiting_.push_back(at);
  if (waiting_.size() <= 2) out_.edges.push_back(at);
  while (waiting_.size() >= 5 && settle_front()) {
  }
}

// Settles waiting_[2], between a good period and two later ones.
bool PulseCheck::settle_front() {
  const Nanos last = waiting_[1];
  const auto before = static_cast<double>(last - waiting_[0]);
  const auto gap = static_cast<double>(waiting_[2] - last);
  const auto next = static_cast<double>(waiting_[3] - waiting_[2]);
  const auto after = static_cast<double>(waiting_[4] - waiting_[3]);

  // Without waiting_[2] the interval fits, and better than with it.
  const bool better = std::abs(gap + next - before) < std::abs(gap - before);
  if (better && near(gap + next, before) && near(after, before)) {
    out_.gaps.push_back({SignalGap::Kind::doubled, last, waiting_[3]});
    waiting_.erase(waiting_.begin() + 2);
    return true;
  }
  Nanos good = last;  // the edge before waiting_[2], mended
  const double period = (before + next) / 2;
  const double periods = std::round(gap / period);
  if (near(before, next) && near(next, after) && (periods == 2 || periods == 3) &&
      std::abs(gap / period - periods) < alike) {
    out_.gaps.push_back({SignalGap::Kind::missing, last, waiting_[2]});
    for (double i = 1; i < periods; ++i) {
      good = last + std::llround(gap * i / periods);
      out_.edges.push_back(good);
    }
  }
  out_.edges.push_back(waiting_[2]);
  waiting_.pop_front();
  waiting_[0] = good;
  return true;
}

void PulseCheck::finish() {
  for (std::size_t i = 2; i < waiting_.size(); ++i) out_.edges.push_back(waiting_[i]);
  waiting_.clear();
}

PulseCheck::Mended PulseCheck::take() { return std::exchange(out_, {}); }

}  // namespace tachproof
