#include "core/plan/suite.h"

#include <algorithm>
#include <numeric>

#include "core/judge/allowance.h"
#include "core/judge/expectation.h"

namespace tachproof {

std::string_view word(Outcome o) {
  switch (o) {
    case Outcome::pass: return "pass";
    case Outcome::pass_on_retry: return "pass-on-retry";
    case Outcome::fail: return "fail";
    case Outcome::intermittent: return "intermittent";
    case Outcome::undecided: return "undecided";
    case Outcome::not_played: return "not-played";
    case Outcome::skipped: return "skipped";
    case Outcome::elsewhere: return "elsewhere";
  }
  return "";
}

Outcome outcome_of(std::span<const Verdict> attempts) {
  if (attempts.empty()) return Outcome::not_played;
  const auto any = [&](Verdict v) {
    return std::find(attempts.begin(), attempts.end(), v) != attempts.end();
  };
  if (any(Verdict::fail)) return any(Verdict::pass) ? Outcome::intermittent : Outcome::fail;
  if (!any(Verdict::pass)) return Outcome::undecided;
  return any(Verdict::undecided) ? Outcome::pass_on_retry : Outcome::pass;
}

std::optional<Verdict> verdict_of(Outcome o) {
  switch (o) {
    case Outcome::pass:
    case Outcome::pass_on_retry: return Verdict::pass;
    case Outcome::fail:
    case Outcome::intermittent: return Verdict::fail;
    case Outcome::skipped:
    case Outcome::elsewhere: return std::nullopt;
    case Outcome::undecided:
    case Outcome::not_played: break;
  }
  return Verdict::undecided;
}

Verdict verdict_of(std::span<const Outcome> pairs) {
  std::optional<Verdict> all;
  for (const Outcome o : pairs)
    if (const std::optional<Verdict> one = verdict_of(o)) all = worst(all.value_or(*one), *one);
  return all.value_or(Verdict::undecided);
}

bool bench_could_not_tell(const RunResult& result) {
  const auto speaks_of_the_bench = [](const Finding& f) { return verdict_of(f.kind) == Verdict::undecided; };
  const auto was_not_given = [](const AnswerResult& a) { return a.verdict == Verdict::undecided; };
  return !result.complete ||
         std::any_of(result.findings.begin(), result.findings.end(), speaks_of_the_bench) ||
         std::any_of(result.answers.begin(), result.answers.end(), was_not_given);
}

bool plays_again(Verdict last, bool bench_could_not_tell, int made, const RetryPolicy& policy) {
  if (made > policy.times) return false;
  return last == Verdict::undecided ? bench_could_not_tell : last == Verdict::fail && policy.fails;
}

std::vector<int> shard_of(std::span<const Nanos> durations, int shards) {
  std::vector<std::size_t> longest_first(durations.size());
  std::iota(longest_first.begin(), longest_first.end(), std::size_t{0});
  std::stable_sort(longest_first.begin(), longest_first.end(),
                   [&](std::size_t a, std::size_t b) { return durations[a] > durations[b]; });
  std::vector<int> shard(durations.size());
  std::vector<Nanos> load(static_cast<std::size_t>(shards), 0);
  for (const std::size_t pair : longest_first) {
    const auto least = std::min_element(load.begin(), load.end());
    *least += std::max<Nanos>(durations[pair], 1);
    shard[pair] = static_cast<int>(least - load.begin()) + 1;
  }
  return shard;
}

bool tells_a_dark_unit(const Gauge& gauge, const Profile& profile, const Noise& noise, Channels watched) {
  bool told = false;
  Reach last;
  const auto reach_ends = [&](Nanos until) {
    const Cue& cue = gauge.windows[last.lowest].cue;
    const bool steady = (cue.steady & watched) != 0;
    if (last.lowest != last.highest || (!steady && (cue.blinking & watched) == 0)) return;
    // A blinking lamp is dark for a part of each period.
    const Nanos needed = steady || !gauge.blink ? gauge.tolerance.settle : from_seconds(1 / gauge.blink->hz);
    told = told || until - last.from > needed;
  };
  ExpectationOptions options;
  options.extra_rpm = [&](double rpm) { return noise_allowance_rpm(noise, gauge, rpm); };
  Expectation expectation(gauge, options);
  const auto take = [&] {
    for (const Reach& reach : expectation.take().reaches) {
      reach_ends(reach.from);
      last = reach;
    }
  };
  for (const Segment& segment : profile.segments()) {
    expectation.add(segment);
    take();
    if (told) return true;
  }
  expectation.finish(profile.duration());
  take();
  reach_ends(profile.duration());
  return told;
}

std::optional<Nanos> shortest_blink_phase(const Gauge& gauge, const Profile& profile, Channels watched) {
  if (!gauge.blink) return std::nullopt;
  const std::vector<Reach> reaches = expect(gauge, profile).reaches;
  const bool blinks = std::any_of(reaches.begin(), reaches.end(), [&](const Reach& reach) {
    return reach.lowest == reach.highest && (gauge.windows[reach.lowest].cue.blinking & watched) != 0;
  });
  if (!blinks) return std::nullopt;
  return from_seconds(gauge.blink->shorter_phase_s());
}

}  // namespace tachproof
