#include "core/judge/jump_memory.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "core/base/portable_math.h"

namespace tachproof {
namespace {

// Of a jump that leaves more nobody knows what is forgotten.
constexpr double most_left = 0.05, least_left = 0.001;
// A loop that swings over is still some percent off when it first gets there.
constexpr double surely = 1.25, surely_s = 0.003;
// Readings of one kind answer a jump no sooner than a ramp in the mean, but for what chance makes of few.
constexpr double least_by_ramp = 0.9;
// Of a ramp's answer, what may be waiting and no filter.
constexpr double waits_by_ramp = 0.7;
constexpr double same_pulses = 1.1;

}  // namespace

// Every answer proves that so much was forgotten by then; an update that came late makes some of them late,
// and takes no proof from the others.
void JumpMemory::jump(double s, double left, double pulse_s) {
  if (!(s > 0) || left > most_left || left < 0) return;
  latest_s_ = std::max(latest_s_, s);
  const bool lower = pulse_s > pulse_s_ * same_pulses;
  if (!lower && (s >= s_ || pulse_s * same_pulses < pulse_s_)) return;
  s_ = s;
  left_ = std::max(left, least_left);
  if (lower) pulse_s_ = pulse_s;
}

void JumpMemory::ramp(double s) {
  sum_s_ += s;
  ++ramps_;
}

bool JumpMemory::known() const { return s_ > 0 && ramps_ > 0 && latest_s_ >= least_by_ramp * ramp_s(); }

// An average over pulses takes as much longer as they are further apart; of others that is too long.
double JumpMemory::needs_s(double pulse_s) const {
  if (!known()) return std::numeric_limits<double>::infinity();
  const double slower = pulse_s > pulse_s_ * same_pulses ? pulse_s / pulse_s_ : 1;
  return std::max(surely * slower * s_, ramp_s()) + surely_s;
}

// A filter answers a jump after d + tau ln(1 / left), a ramp after d + tau.
double JumpMemory::filter_s() const {
  return std::max(1e-6, s_ - waits_by_ramp * ramp_s()) / (portable::log(1 / left_) - 1);
}

double JumpMemory::forgets_s(double share, double pulse_s) const {
  if (share >= 1) return 0;
  return needs_s(pulse_s) + filter_s() * std::max(0.0, portable::log(left_ / share));
}

double JumpMemory::left_after(double s, double pulse_s) const {
  const double after_s = s - needs_s(pulse_s);
  return after_s < 0 ? 1 : left_ * portable::exp(std::max(-after_s / filter_s(), -700.0));
}

}  // namespace tachproof
