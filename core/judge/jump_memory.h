// How long a unit's reading remembers what was before, as its answers to jumps show it.
//
// After a jump of the rpm a reading still holds a share of what was before: exp(-(t - d) / tau) of a filter,
// a part of its pulses of an average, nothing of one period. A lamp that answers a jump past its threshold
// when s has gone by tells that no more was left then than from the threshold to where the jump went. A ramp
// that has kept its rate for s before a change is then late by what follows s alone: of a filter by at most
// tau times that share, under a millisecond where a twentieth was left. So such a visit counts as one that
// was led in for the longest response that is allowed (core/judge/visit.h).
//
// It holds for readings that treat small changes as large ones. A unit that follows jumps at once and
// smooths the rest answers them sooner than it answers ramps: then nothing is known.
#pragma once

namespace tachproof {

class JumpMemory {
 public:
  // A jump past a threshold was answered after `s`, when at most `left` of it (0 to 1) had not yet
  // been followed; pulses were `pulse_s` apart where it went.
  void jump(double s, double left, double pulse_s);
  // A ramp that was led in for long enough was answered `s` after its threshold was met.
  void ramp(double s);

  bool known() const;
  // Seconds for which a rate must have been kept before a change, where pulses are `pulse_s`
  // apart; infinite where nothing is known.
  double needs_s(double pulse_s) const;
  // Seconds after a jump until no more than `share` of it is left, and the share that is left after `s`.
  double forgets_s(double share, double pulse_s) const;
  double left_after(double s, double pulse_s) const;

 private:
  double ramp_s() const { return sum_s_ / ramps_; }
  double filter_s() const;

  double s_ = 0, left_ = 1, pulse_s_ = 0;  // of the soonest answer to a jump, of those at the lowest rpm
  double latest_s_ = 0;                    // answer of all
  double sum_s_ = 0;                       // answers to ramps
  int ramps_ = 0;
};

}  // namespace tachproof
