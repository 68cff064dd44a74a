#include "bench/run/diagnose.h"

#include <fmt/format.h>

#include <algorithm>
#include <list>
#include <stdexcept>

#include "bench/files/step_text.h"
#include "bench/record/folder_format.h"
#include "bench/record/run_folder.h"
#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/run/judge_again.h"
#include "core/cause/telling_apart.h"

namespace tachproof {
namespace {

// `12.5`, `300ms`: as a person would write it.
std::string duration(Nanos t) {
  return t % ns_per_s == 0 ? fmt::format("{}s", t / ns_per_s)
                           : fmt::format("{}ms", (t + ns_per_ms - 1) / ns_per_ms);
}

}  // namespace

StoredDiagnosis diagnose_folders(const std::vector<std::filesystem::path>& folders,
                                 const std::vector<OtherGauge>& others) {
  StoredDiagnosis out;
  out.verdict = Verdict::pass;
  std::list<JudgedAgain> again;
  std::list<EvidenceLog> logs;
  std::vector<JudgedRun> runs;
  std::string gauge_sha256;
  std::vector<OtherGauge> candidates = others;
  for (const std::filesystem::path& folder : folders) {
    const RunRecord stored = load_run(folder).record;
    if (!stored.purpose.empty())
      throw std::runtime_error(
          fmt::format("{} judged nothing against the settings, so that it has no causes", folder.string()));
    if (!gauge_sha256.empty() && stored.gauge_sha256 != gauge_sha256)
      throw std::runtime_error(
          fmt::format("{} is a run of other settings: causes are those of one gauge file", folder.string()));
    gauge_sha256 = stored.gauge_sha256;
    const Journal journal = read_journal(folder / "journal.jsonl", 0);
    for (OtherGauge& kept : kept_candidates(folder, journal))
      if (std::none_of(candidates.begin(), candidates.end(),
                       [&](const OtherGauge& o) { return o.file == kept.file; }))
        candidates.push_back(std::move(kept));
    again.push_back(judge_again(folder, stored, journal, &logs.emplace_back()));
    out.gauge = again.back().gauge;
    out.verdict = worst(out.verdict, reported_verdict(again.back().result));
    if (!logs.back().begun() && again.back().result.verdict == Verdict::fail)
      throw CannotJudgeAgain(
          folder.string() +
          " is a dwell, whose fail is flicker: `tachproof deadband` says which deadband holds");
    runs.push_back({again.back().result, logs.back()});
  }
  out.diagnosis = diagnose(out.gauge, runs, candidates);
  return out;
}

std::string next_scenario(const Gauge& gauge, const Diagnosis& diagnosis) {
  std::vector<Gauge> acts;
  for (const Hypothesis& hypothesis : diagnosis.hypotheses) acts.push_back(hypothesis.gauge);
  const std::vector<ToldStep> steps = steps_that_tell_apart(gauge, acts);
  if (steps.empty()) return "";
  std::string text = "# Tells these causes apart; play it, then: tachproof diagnose OLD NEW\n";
  for (std::size_t i = 0; i < diagnosis.causes.list.size(); ++i)
    text += fmt::format("#   {}. {}\n", i + 1, printable(diagnosis.causes.list[i].text));
  text += "format: 1\nkind: scenario\nname: tells causes apart\nseed: 1\nprofile:\n";
  for (const ToldStep& step : steps) {
    if (!step.why.empty()) text += "  # " + printable(step.why) + "\n";
    text += "  - " + step_text(step.step, duration) + "\n";
  }
  return text + "judge: {transitions: true, steady: true, blink: true, thresholds: false}\n";
}

}  // namespace tachproof
