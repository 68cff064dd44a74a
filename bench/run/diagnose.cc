#include "bench/run/diagnose.h"

#include <fmt/format.h>

#include <algorithm>
#include <list>
#include <stdexcept>
#include <system_error>

#include "bench/files/files.h"
#include "bench/files/step_text.h"
#include "bench/record/disk.h"
#include "bench/record/folder_format.h"
#include "bench/record/run_folder.h"
#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/run/judge_again.h"
#include "core/cause/missing.h"
#include "core/cause/telling_apart.h"

namespace tachproof {
namespace {

constexpr std::size_t most_beside = 60;

std::string name_of(const std::filesystem::path& file) { return file.filename().string(); }

std::vector<std::filesystem::path> yaml_files(const std::filesystem::path& folder) {
  std::vector<std::filesystem::path> files;
  std::error_code error;
  for (const auto& entry : std::filesystem::directory_iterator(folder, error)) {
    const std::string ending = entry.path().extension();
    if ((ending == ".yaml" || ending == ".yml") && entry.is_regular_file(error))
      files.push_back(entry.path());
  }
  std::sort(files.begin(), files.end());
  if (files.size() > most_beside) files.resize(most_beside);
  return files;
}

// `12.5`, `300ms`: as a person would write it.
std::string duration(Nanos t) {
  return t % ns_per_s == 0 ? fmt::format("{}s", t / ns_per_s)
                           : fmt::format("{}ms", (t + ns_per_ms - 1) / ns_per_ms);
}

}  // namespace

std::vector<OtherGauge> gauges_beside(const std::filesystem::path& gauge_file,
                                      const std::string& but_sha256) {
  std::vector<OtherGauge> all;
  const std::filesystem::path folder = gauge_file.parent_path();
  for (const std::filesystem::path& file : yaml_files(folder.empty() ? "." : folder)) {
    try {
      std::string bytes;
      Gauge gauge = load_gauge(file, &bytes);
      if (sha256_of(bytes) != but_sha256) all.push_back({name_of(file), std::move(gauge)});
    } catch (const std::runtime_error&) {
      // Another kind of file, or one that somebody is writing.
    }
  }
  return all;
}

void find_causes(RunRecord& record, const EvidenceLog& evidence, const std::filesystem::path& gauge_file) {
  if (!record.purpose.empty()) return;
  const Verdict verdict = reported_verdict(record.result);
  if (verdict == Verdict::undecided) record.causes.missing = missing_evidence(record.gauge, record.result);
  if (verdict != Verdict::fail || !evidence.begun()) return;
  try {
    const std::vector<OtherGauge> others = gauges_beside(gauge_file, record.gauge_sha256);
    record.causes = diagnose(record.gauge, {{record.result, evidence}}, others).causes;
  } catch (const std::exception& e) {
    // The verdict stands, whatever explains it.
    record.causes.none = fmt::format("The causes could not be looked for: {}", e.what());
  }
}

StoredDiagnosis diagnose_folders(const std::vector<std::filesystem::path>& folders,
                                 const std::vector<OtherGauge>& others) {
  StoredDiagnosis out;
  out.verdict = Verdict::pass;
  std::list<JudgedAgain> again;
  std::list<EvidenceLog> logs;
  std::vector<JudgedRun> runs;
  std::string gauge_sha256;
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
    again.push_back(judge_again(folder, stored, journal, &logs.emplace_back()));
    out.gauge = again.back().gauge;
    out.verdict = worst(out.verdict, reported_verdict(again.back().result));
    if (!logs.back().begun() && again.back().result.verdict == Verdict::fail)
      throw CannotJudgeAgain(
          folder.string() +
          " is a dwell, whose fail is flicker: `tachproof deadband` says which deadband holds");
    runs.push_back({again.back().result, logs.back()});
  }
  out.diagnosis = diagnose(out.gauge, runs, others);
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
