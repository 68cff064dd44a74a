#include "core/recording/pulse_check.h"

#include <cmath>
#include <utility>

namespace tachproof {
namespace {

// How alike two intervals must be: a firing pattern and a hard ramp stay
// within it, a lost or an extra pulse does not.
constexpr double alike = 0.2;
constexpr double most_periods = 5;       // that a gap may hold
constexpr std::size_t most_extra = 2;    // edges within one period
constexpr int enough = 2;                // alike periods before, and single ones after
constexpr std::size_t looks_ahead = 16;  // edges

bool near(double a, double b) { return std::abs(a - b) <= alike * b; }

// A whole number of periods, 1 to most_periods; 0: it is none.
double periods_in(double ns, double period) {
  const double n = std::round(ns / period);
  return n >= 1 && n <= most_periods && std::abs(ns / period - n) <= alike ? n : 0;
}

}  // namespace

void PulseCheck::edge(Nanos at) {
  waiting_.push_back(at);
  if (waiting_.size() <= 2) out_.edges.push_back(at);
  while (waiting_.size() >= looks_ahead) settle_front();
}

// From that edge on, single periods come, with whole numbers of them and extra edges
// between. One that has an extra edge in it does not count: that may be a higher speed.
bool PulseCheck::goes_on(std::size_t from, double period) const {
  int singles = 0;
  while (singles < enough) {
    double periods = 0;
    std::size_t next = from + 1;
    for (; next < waiting_.size() && next <= from + 1 + most_extra; ++next) {
      periods = periods_in(static_cast<double>(waiting_[next] - waiting_[from]), period);
      if (periods > 0) break;
    }
    if (periods == 0) return false;
    if (periods == 1) {
      singles += next == from + 1 ? 1 : 0;
      period = static_cast<double>(waiting_[next] - waiting_[from]);
    }
    from = next;
  }
  return true;
}

// Without the next edge, or two, the interval fits, and better than with them.
bool PulseCheck::drop_extra(double before) {
  const Nanos last = waiting_[1];
  const auto gap = static_cast<double>(waiting_[2] - last);
  for (std::size_t extra = 1; extra <= most_extra && 2 + extra < waiting_.size(); ++extra) {
    const auto whole = static_cast<double>(waiting_[2 + extra] - last);
    if (!near(whole, before) || std::abs(whole - before) >= std::abs(gap - before) ||
        !goes_on(2 + extra, whole))
      continue;
    out_.gaps.push_back({SignalGap::Kind::doubled, last, waiting_[2 + extra]});
    const auto first = waiting_.begin() + 2;
    waiting_.erase(first, first + static_cast<std::ptrdiff_t>(extra));
    return true;
  }
  return false;
}

bool PulseCheck::fill_missing(double before) {
  const Nanos last = waiting_[1];
  const auto gap = static_cast<double>(waiting_[2] - last);
  const auto next = static_cast<double>(waiting_[3] - waiting_[2]);
  const auto after = static_cast<double>(waiting_[4] - waiting_[3]);
  // Where nothing regular came before, only what is plain on both sides.
  const bool plain = near(before, next) && near(next, after);
  const double periods = periods_in(gap, plain ? (before + next) / 2 : before);
  if (periods < 2 || (!plain && (alike_ < enough || !goes_on(2, before)))) return false;
  out_.gaps.push_back({SignalGap::Kind::missing, last, waiting_[2]});
  for (double i = 1; i < periods; ++i) out_.edges.push_back(last + std::llround(gap * i / periods));
  const Nanos good = last + std::llround(gap * (periods - 1) / periods);
  out_.edges.push_back(waiting_[2]);
  waiting_.pop_front();
  waiting_[0] = good;
  return true;
}

// Settles waiting_[2], after a good period.
void PulseCheck::settle_front() {
  const auto before = static_cast<double>(waiting_[1] - waiting_[0]);
  const auto gap = static_cast<double>(waiting_[2] - waiting_[1]);
  const auto next = static_cast<double>(waiting_[3] - waiting_[2]);
  const bool usual = near(gap, before) && near(next, gap);
  if (!usual && (drop_extra(before) || fill_missing(before))) return;
  alike_ = near(gap, before) ? alike_ + 1 : 0;
  out_.edges.push_back(waiting_[2]);
  waiting_.pop_front();
}

void PulseCheck::finish() {
  while (waiting_.size() >= 5) settle_front();
  for (std::size_t i = 2; i < waiting_.size(); ++i) out_.edges.push_back(waiting_[i]);
  waiting_.clear();
}

PulseCheck::Mended PulseCheck::take() { return std::exchange(out_, {}); }

}  // namespace tachproof
