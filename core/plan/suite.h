// A suite: many scenarios on many gauges, and one verdict. What attempts at one
// pair of gauge and scenario come to, what pairs come to together, which attempt
// may be made again, and which of several benches plays what.
#pragma once

#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "core/base/time.h"
#include "core/gauge/gauge.h"
#include "core/judge/result.h"
#include "core/signal/noise.h"
#include "core/signal/profile.h"

namespace tachproof {

// What became of one pair.
enum class Outcome {
  pass,
  pass_on_retry,  // of several attempts the last passes; in those before, the bench could not decide
  fail,
  intermittent,  // it failed in one attempt and passed in another: a fail
  undecided,
  not_played,  // stopped before it, or a shard that is missing
  skipped,     // cannot be played, and the user has allowed that
  elsewhere    // another shard's
};
std::string_view word(Outcome o);  // "pass", "pass-on-retry", ...

// Of the attempts at one pair, whatever their order. None: not_played.
Outcome outcome_of(std::span<const Verdict> attempts);
// An intermittent unit is a fail. Nothing for what has no part in the whole:
// skipped and elsewhere.
std::optional<Verdict> verdict_of(Outcome o);
// fail beats undecided beats pass: what is undecided does not make a proven
// fault less certain. Undecided when no pair has a part in it.
Verdict verdict_of(std::span<const Outcome> pairs);

// The run is undecided because of the bench: it was cut short, evidence was
// lost, or nobody answered. Another attempt is then the first real one. A run
// that is undecided because a number is too near its limit does not count:
// playing it until chance lets it pass would prove nothing.
bool bench_could_not_tell(const RunResult& result);

struct RetryPolicy {
  int times = 0;       // beyond the first attempt
  bool fails = false;  // fails too, to find out whether a fault is intermittent
};
// Whether a pair whose last attempt, the `made`-th, ended so is played again.
bool plays_again(Verdict last, bool bench_could_not_tell, int made, const RetryPolicy& policy);

// For each pair, which of the shards 1..`shards` plays it. Rests on the expected
// durations and their order alone; the longest pairs are dealt first, each to
// the shard that has least. No shard is empty when there are as many pairs.
std::vector<int> shard_of(std::span<const Nanos> durations, int shards);

// Whether a unit that never lights a lamp would be found out: some window must
// be shown long enough to be judged, with a lamp lit that is `watched`. Without
// that a pass says next to nothing.
bool tells_a_dark_unit(const Gauge& gauge, const Profile& profile, const Noise& noise, Channels watched);

// For how long a `watched` lamp that must blink in this profile is lit or dark
// at a time, whichever is less: a watcher that times changes no better than
// that cannot follow it. Nothing where none must blink.
std::optional<Nanos> shortest_blink_phase(const Gauge& gauge, const Profile& profile, Channels watched);

}  // namespace tachproof
