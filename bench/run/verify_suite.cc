// `report SUITE --verify`.
#include <fmt/format.h>

#include <algorithm>
#include <set>
#include <stdexcept>
#include <system_error>

#include "bench/files/own_files.h"
#include "bench/files/regular_file.h"
#include "bench/record/checksums.h"
#include "bench/record/disk.h"
#include "bench/record/folder_format.h"
#include "bench/record/suite_checksums.h"
#include "bench/run/sign.h"
#include "bench/run/stated_facts.h"
#include "bench/run/suite.h"
#include "bench/run/suite_folders.h"
#include "bench/run/verify.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;
using LineKind = Verification::Kind;

bool is_run(const fs::path& folder) {
  return is_file_there(folder / "result.json") || is_file_there(folder / "journal.jsonl");
}

// Nothing shows why a run that ended as runs do should be incomplete.
bool goes_to_its_end(const fs::path& folder) {
  try {
    if (!read_journal(folder / "journal.jsonl", 0).seal) return false;
    const RunResult result = load_run(folder).record.result;
    const ScenarioFile scenario = kept_scenario(folder);
    const bool is_short = scenario.dwell || result.duration < Profile(scenario.steps).duration();
    const auto speaks_of_the_bench = [](const Finding& f) {
      return verdict_of(f.kind) == Verdict::undecided;
    };
    return !is_short && result.evidence.lost == 0 &&
           std::none_of(result.findings.begin(), result.findings.end(), speaks_of_the_bench);
  } catch (const std::exception&) {
    return false;
  }
}

class SuiteVerifier {
 public:
  SuiteVerifier(const fs::path& folder, const VerifyBy& by) : folder_(folder), by_(by) {}

  Verification run() {
    record_ = load_suite(folder_);
    v_.stored = record_.verdict();
    if (record_.ended.empty()) say(LineKind::cannot, "The suite did not get to its end.");
    const bool is_signed = check_sums() && check_signature(v_, folder_, by_.key);
    for (const std::string& doubt : record_.doubts) say(LineKind::differs, doubt);
    check_runs();
    check_strangers();
    check_own_files(is_signed);
    return std::move(v_);
  }

 private:
  void say(LineKind kind, std::string text) { v_.lines.push_back({kind, std::move(text)}); }

  bool check_sums() {
    if (!is_file_there(folder_ / checksums_name)) {
      if (record_.ended.empty())
        say(LineKind::cannot, fmt::format("There is no {} to check by.", checksums_name));
      else
        say(LineKind::differs,
            fmt::format("{} is missing, although the suite got to its end.", checksums_name));
      return false;
    }
    std::vector<FileSum> sums;
    try {
      sums = parse_suite_checksums(whole_file(folder_ / checksums_name));
    } catch (const std::runtime_error& e) {
      say(LineKind::differs, std::string(e.what()) + ".");
      return false;
    }
    std::size_t sound = 0;
    std::set<std::string> listed;
    for (const FileSum& sum : sums) {
      listed.insert(sum.file);
      require_plain_way(sum.file);
      if (!is_file_there(folder_ / sum.file))
        say(LineKind::differs, sum.file + " is missing.");
      else if (sha256_of_file(folder_ / sum.file) != sum.sha256)
        say(LineKind::differs, sum.file + " is not as the suite left it: its SHA-256 differs.");
      else
        ++sound;
    }
    if (sound > 0)
      say(LineKind::agrees,
          fmt::format("{} of {} files are, byte by byte, as the suite left them.", sound, sums.size()));
    for (const std::string& name : suite_names(record_, folder_))
      if (!listed.contains(name))
        say(LineKind::differs, fmt::format("{} does not list {}.", checksums_name, name));
    return true;
  }

  // Every folder on the way holds only files of its own: no sum is taken of anything else.
  void require_plain_way(const fs::path& below) {
    fs::path in = folder_;
    for (const fs::path& part : below.parent_path())
      if (in /= part; plain_.insert(in.string()).second) require_plain_entries(in);
  }

  // Every run as `report RUN --verify` does; the signature of the suite covers their sums.
  void check_runs() {
    VerifyBy by = by_;
    by.key.reset();
    std::size_t verified = 0, runs = 0;
    for (const SuitePair& pair : record_.pairs) {
      if (!record_.is_here(pair)) continue;
      for (const Attempt& attempt : pair.attempts) {
        if (attempt.folder.empty() || !is_folder_of(pair, attempt.folder) ||
            !is_run(folder_ / attempt.folder))
          continue;  // undecided, and said so
        ++runs;
        verified += check_run(attempt, verify_run(folder_ / attempt.folder, by));
      }
    }
    if (verified > 0)
      say(LineKind::agrees,
          fmt::format("{} of {} runs are verified: judged again, they say what they said.", verified, runs));
  }

  bool check_run(const Attempt& attempt, const Verification& v) {
    const LineKind outcome = v.outcome();
    if (outcome == LineKind::agrees) return true;
    // Of a run that was cut short nothing is claimed: it is undecided, and the pair is marked for it.
    const bool nothing_claimed = outcome == LineKind::cannot && !attempt.complete;
    if (nothing_claimed && goes_to_its_end(folder_ / attempt.folder)) {
      say(LineKind::differs,
          fmt::format("{} is said to be cut short, but goes to its end and lacks nothing.", attempt.folder));
      return false;
    }
    const LineKind kind = nothing_claimed ? LineKind::not_asked : outcome;
    for (const Verification::Line& line : v.lines)
      if (line.kind == outcome) say(kind, fmt::format("{}: {}", attempt.folder, line.text));
    return false;
  }

  // Runs that nothing speaks of.
  void check_strangers() {
    std::error_code error;
    for (const auto& gauge : fs::directory_iterator(folder_, error)) {
      const std::string name = gauge.path().filename().string();
      if (!gauge.is_directory(error)) {
        if (name != checksums_name && name != "SHA256SUMS.sig" && name != suite_file &&
            name != "report.html" && name != "junit.xml")
          say(LineKind::not_asked, name + " is not part of the suite: no checksum covers it.");
        continue;
      }
      for (const auto& run : fs::directory_iterator(gauge.path(), error)) {
        const std::string folder = name + "/" + run.path().filename().string();
        if (is_run(run.path()) && !is_known(folder)) check_unknown(folder);
      }
    }
  }

  bool is_known(const std::string& folder) const {
    return std::any_of(record_.pairs.begin(), record_.pairs.end(),
                       [&](const SuitePair& pair) { return is_folder_of(pair, folder); });
  }

  // After a suite was changed and resumed, its note says which pairs were left out.
  void check_unknown(const std::string& folder) {
    const std::size_t slash = folder.find('/');
    const std::string scenario = folder.substr(slash + 1, folder.find('@', slash) - slash - 1);
    const std::string note =
        fmt::format("{} on {} is no longer part of the suite", scenario, folder.substr(0, slash));
    const bool noted = std::any_of(record_.notes.begin(), record_.notes.end(),
                                   [&](const std::string& n) { return n.starts_with(note); });
    say(noted ? LineKind::not_asked : LineKind::differs,
        fmt::format("{} is a run of a pair that suite.json does not list.", folder));
  }

  // suite.json, its page and its JUnit, written once more from what the run folders say.
  void check_own_files(bool is_signed) {
    if (!record_.doubts.empty()) return;  // they cannot be the same, and why has been said
    const bool same_version = record_.tool_version == by_.tool_version;
    std::size_t same = 0;
    const Page files[] = {{suite_file, suite_json(record_)},
                          {"report.html", suite_html(record_)},
                          {"junit.xml", suite_junit(record_)}};
    for (const Page& file : files) {
      if (!is_file_there(folder_ / file.name)) continue;  // which check_sums has said
      if (whole_file(folder_ / file.name) == file.text)
        ++same;
      else if (same_version || file.name == suite_file)
        say(LineKind::differs,
            fmt::format("{} is not what the run folders give: it was replaced or changed.", file.name));
      else
        say(is_signed ? LineKind::not_asked : LineKind::cannot,
            fmt::format(
                "{} was drawn by version {} of the program, and this is {}: it cannot be drawn again.",
                file.name, record_.tool_version, by_.tool_version));
    }
    if (same == std::size(files))
      say(LineKind::agrees, "suite.json, report.html and junit.xml say what the run folders say.");
  }

  const fs::path& folder_;
  const VerifyBy& by_;
  SuiteRecord record_;
  Verification v_;
  std::set<std::string> plain_;  // folders that were looked at
};

}  // namespace

Verification verify_suite(const fs::path& folder, const VerifyBy& by) {
  return SuiteVerifier(folder, by).run();
}

}  // namespace tachproof
