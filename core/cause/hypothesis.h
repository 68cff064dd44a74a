// What may be wrong with a unit, held against the evidence of one run or of several.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "core/cause/evidence_log.h"
#include "core/cause/fault.h"
#include "core/cause/road.h"
#include "core/judge/fit_memo.h"
#include "core/judge/result.h"

namespace tachproof {

// One fault or two; what the unit then acts by, and what the evidence is then worth.
struct Hypothesis {
  std::vector<Fault> faults;  // the second is written against the gauge that the first makes
  std::vector<double> u;      // expanded uncertainty (95 %) of each size; NaN: it has none
  Gauge gauge;                // that the unit acts by; the windows are those of the gauge as set
  Channels ignored = 0;       // channels that say nothing
  std::vector<std::pair<Nanos, Nanos>> excused, hidden;  // as for EvidenceLog
  std::shared_ptr<const std::vector<Segment>> believed;  // the rpm that the unit believes; null: as played
  Noise noise;                                           // of its reading, as if it were the signal's
  Nanos answers_within = 0;                              // the longest response allowed; 0: as the gauge says
  // Of one that reads seldom: windows that stayed though another was due, and for how long together.
  std::size_t gaps = 0;
  double behind_s = 0;

  // All that it says is in its gauge: nothing of the evidence is left out or taken otherwise.
  bool plain() const;
  bool reads_seldom() const;  // proven by when it read, not by longer responses
  bool has(Fault::Kind kind) const;
  Road::View view() const;  // refers to this
};

// With one fault more. Throws std::invalid_argument as with_fault does.
Hypothesis with(const Hypothesis& base, const Fault& fault);
// The gauge that a unit acts by that was to be `set` and has these faults, the first of them first.
Gauge acting(const Gauge& set, const std::vector<Fault>& faults);

// One run: how it was judged, and by what. References must outlive it.
struct JudgedRun {
  const RunResult& result;
  const EvidenceLog& evidence;
};

// Findings that speak of the unit, those that were left out of the list among them.
std::uint64_t faults_found(const RunResult& result);

struct Trial {
  Hypothesis hypothesis;
  std::vector<RunResult> results;  // of every run, judged again
  std::uint64_t left = 0;          // findings that stay, but for
  std::uint64_t pressed = 0;  // those that say themselves what the unit made of a press (button_causes.h)
  Verdict verdict = Verdict::undecided;
  double fit = 0;      // of the measured numbers to what the hypothesis says: chi squared
  double wrong_s = 0;  // as in Road
  double unsaid = 0;   // share of the evidence, lamps by time, that may be anything: 0..1
  double score = 0;    // the less the likelier, of those that leave nothing

  bool explains_all() const { return left == 0 && (verdict != Verdict::fail || pressed > 0); }
};

// Judges hypotheses, and counts what that costs.
class Court {
 public:
  Court(const Gauge& gauge, std::vector<JudgedRun> runs);

  const Gauge& gauge() const { return gauge_; }
  const std::vector<JudgedRun>& runs() const { return runs_; }
  const std::vector<Road>& roads() const { return roads_; }     // of every run
  std::vector<Road> roads(const Hypothesis& hypothesis) const;  // what it leaves of them
  std::uint64_t findings() const { return findings_; }
  // What a unit that reads seldom believed, and how often it was behind, is found here and kept in the trial.
  Trial judge(const Hypothesis& hypothesis);
  double wrong_s(const Hypothesis& hypothesis) const;  // of all runs, by what it leaves of them

  // No more judging: enough has been done for this evidence. Some 20 million lamp changes
  // and segments are a few seconds.
  bool tired() const { return work_ > most_work; }
  std::size_t judged() const { return judged_; }

 private:
  void read_seldom(Hypothesis& hypothesis) const;
  double unsaid(const Hypothesis& hypothesis) const;

  static constexpr std::uint64_t most_work = 20'000'000;
  const Gauge& gauge_;
  std::vector<JudgedRun> runs_;
  std::vector<Nanos> responses_;  // usual, of each run
  FitMemo fits_;
  std::vector<Road> roads_;
  std::uint64_t findings_ = 0, work_ = 0;
  std::size_t judged_ = 0;
};

}  // namespace tachproof
