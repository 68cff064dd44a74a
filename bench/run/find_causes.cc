#include "bench/run/find_causes.h"

#include <fmt/format.h>

#include <algorithm>
#include <stdexcept>
#include <system_error>

#include "bench/files/files.h"
#include "bench/record/checksums.h"
#include "bench/record/disk.h"
#include "bench/record/summary.h"
#include "core/cause/missing.h"

namespace tachproof {
namespace {

constexpr std::size_t most_beside = 60;

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

std::vector<OtherGauge> gauges_of(const std::vector<CandidateFile>& files) {
  std::vector<OtherGauge> all;
  for (const CandidateFile& file : files) all.push_back(file.other);
  return all;
}

std::vector<CandidateFile> telling_files(const RunRecord& record, const EvidenceLog& evidence,
                                         const std::filesystem::path& gauge_file,
                                         const AcceptedSettings& accepted) {
  std::vector<CandidateFile> files = gauges_beside(gauge_file, record.gauge_sha256);
  if (accepted)
    if (std::optional<CandidateFile> own = accepted()) files.insert(files.begin(), std::move(*own));
  std::vector<CandidateFile> telling;
  for (const std::size_t place : telling_gauges(record.gauge, {{record.result, evidence}}, gauges_of(files)))
    telling.push_back(std::move(files[place]));
  return telling;
}

}  // namespace

std::vector<CandidateFile> gauges_beside(const std::filesystem::path& gauge_file,
                                         const std::string& but_sha256) {
  std::vector<CandidateFile> all;
  const std::filesystem::path folder = gauge_file.parent_path();
  for (const std::filesystem::path& file : yaml_files(folder.empty() ? "." : folder)) {
    try {
      std::string bytes;
      Gauge gauge = load_gauge(file, &bytes);
      if (sha256_of(bytes) != but_sha256)
        all.push_back({{file.filename().string(), std::move(gauge)}, std::move(bytes)});
    } catch (const std::runtime_error&) {
      // Another kind of file, or one that somebody is writing.
    }
  }
  return all;
}

void find_causes(RunRecord& record, const EvidenceLog& evidence, RunFolder& folder,
                 const std::filesystem::path& gauge_file, const AcceptedSettings& accepted) {
  std::vector<OtherGauge> candidates;
  try {
    if (record.purpose.empty() && reported_verdict(record.result) == Verdict::fail && evidence.begun())
      for (CandidateFile& file : telling_files(record, evidence, gauge_file, accepted)) {
        const std::string name = fmt::format("candidate-{}.yaml", candidates.size() + 1);
        record.inputs.emplace_back(name, folder.keep_text(file.bytes, name));
        folder.journal(candidate_line({name, file.other.file, file.other.accepted}));
        candidates.push_back(std::move(file.other));
      }
    record.causes = causes_of(record, evidence, candidates);
  } catch (const std::exception& e) {
    // The verdict stands, whatever explains it.
    record.causes.none = fmt::format("The causes could not be looked for: {}", e.what());
  }
}

Causes causes_of(const RunRecord& record, const EvidenceLog& evidence,
                 const std::vector<OtherGauge>& candidates) {
  Causes causes;
  if (!record.purpose.empty()) return causes;
  const Verdict verdict = reported_verdict(record.result);
  if (verdict == Verdict::undecided) causes.missing = missing_evidence(record.gauge, record.result);
  if (verdict != Verdict::fail || !evidence.begun()) return causes;
  return diagnose(record.gauge, {{record.result, evidence}}, candidates).causes;
}

std::vector<OtherGauge> kept_candidates(const std::filesystem::path& folder, const Journal& journal) {
  std::vector<OtherGauge> all;
  for (const CandidateLine& line : journal.candidates) {
    const bool kept = std::any_of(journal.inputs.begin(), journal.inputs.end(),
                                  [&](const FileSum& input) { return input.file == line.file; });
    if (!kept)
      throw std::runtime_error(
          fmt::format("journal.jsonl names the candidate {}, which was not kept", line.file));
    all.push_back({line.of, load_gauge(folder / line.file), line.accepted});
  }
  return all;
}

}  // namespace tachproof
