// Judges a stored run a second time, from its raw evidence and its inputs alone.
//
// A run of a scenario: its pulse train is made again from scenario, gauge and
// seed, and the stored lamp changes are handed to the runner as if they came
// from a rig; so is a dwell, which decides by them when each hold ends. A
// recording: it is read, laid by its scenario where there was one, and judged again. Either way the same
// runner and judge do the work, into a scratch folder, so that capture.vcd and timeline.csv are made anew as
// well and can be compared byte by byte.
#pragma once

#include <filesystem>
#include <stdexcept>
#include <string>
#include <vector>

#include "bench/record/folder_format.h"
#include "bench/record/run_folder.h"
#include "core/cause/evidence_log.h"

namespace tachproof {

// The folder does not hold what would be needed. what() is a sentence.
struct CannotJudgeAgain : std::runtime_error {
  using std::runtime_error::runtime_error;
};

// The inputs make more than the folder has, so they are not of this evidence. What is written meanwhile
// is bounded by what the folder has.
struct MoreThanStored : CannotJudgeAgain {
  using CannotJudgeAgain::CannotJudgeAgain;
};

struct JudgedAgain {
  Gauge gauge;  // as gauge.yaml in the folder has it
  RunResult result;
  bool same_bench = true;      // a recording states of its time what the record has
  bool same_capture = false;   // capture.vcd came out the same, byte by byte
  bool same_timeline = false;  // and timeline.csv
};

// Of `stored` it takes only what contradictions() (stated_facts.h) has checked; the answers to questions are
// the journal's, and which lamps were watched is the rig file's.
// `evidence`: keeps what the judge was told; a dwell leaves it as it is.
JudgedAgain judge_again(const std::filesystem::path& folder, const RunRecord& stored, const Journal& journal,
                        EvidenceLog* evidence = nullptr);

// What differs beyond rounding, a sentence each: at most `most`, then one that
// says how many more.
std::vector<std::string> differences(const RunRecord& stored, const JudgedAgain& again, std::size_t most);

// The same of the causes; `again`: looked for once more.
std::vector<std::string> differences_of_causes(const Causes& stored, const Causes& again);

// What is stated otherwise than when the run was begun: tool, rig, unit, certificate, gauge, scenario.
std::vector<std::string> differences_from_begun(const RunRecord& stored, const RunRecord& begun);

}  // namespace tachproof
