#include "bench/run/verify.h"

#include <fmt/format.h>

#include <algorithm>
#include <stdexcept>
#include <system_error>

#include "bench/files/own_files.h"
#include "bench/files/regular_file.h"
#include "bench/record/checksums.h"
#include "bench/record/disk.h"
#include "bench/record/folder_format.h"
#include "bench/record/result_json.h"
#include "bench/record/summary.h"
#include "bench/run/clip_evidence.h"
#include "bench/run/find_causes.h"
#include "bench/run/judge_again.h"
#include "bench/run/sign.h"
#include "bench/run/stated_facts.h"

namespace tachproof {
namespace {

using Kind = Verification::Kind;

constexpr std::size_t most_differences = 12;

class Verifier {
 public:
  Verifier(const std::filesystem::path& folder, const VerifyBy& by) : folder_(folder), by_(by) {}

  Verification run() {
    read_result();
    if (check_sums()) is_signed_ = check_signature(v_, folder_, by_.key);
    if (record_ && record_->result.complete) {
      check_statements();
      judge();
      check_pages();
    } else {
      say(Kind::cannot, "The run is not complete, so it cannot be judged again.");
    }
    return std::move(v_);
  }

 private:
  void say(Kind kind, std::string text) { v_.lines.push_back({kind, std::move(text)}); }

  // At most so many lines, then one that counts the rest.
  void differs(const std::vector<std::string>& sentences) {
    for (std::size_t i = 0; i < std::min(sentences.size(), most_differences); ++i)
      say(Kind::differs, sentences[i]);
    if (sentences.size() > most_differences)
      say(Kind::differs,
          fmt::format("{} more differences are not shown.", sentences.size() - most_differences));
  }

  void check_statements() {
    const std::vector<std::string> found = contradictions(folder_, *record_, journal_);
    differs(found);
    if (found.empty())
      say(Kind::agrees, "What is stated of rig, unit and inputs is what the journal and the copies say.");
  }

  // As they were drawn when the run ended.
  void check_pages() {
    const StoredRun stored = load_run(folder_);
    if (!stored.record.result.complete) {
      say(Kind::differs, stored.record.result.notes.front());
      return;
    }
    if (!by_.pages) return;
    std::size_t same = 0;
    const std::vector<Page> pages = by_.pages(stored.record, stored.trace);
    for (const Page& page : pages) same += check_page(page);
    if (same == pages.size())
      say(Kind::agrees, "Drawn again from the result and the evidence, the pages come out the same.");
  }

  bool check_page(const Page& page) {
    if (!is_file_there(folder_ / page.name)) {
      say(Kind::differs, fmt::format("{} is missing, so it cannot be compared.", page.name));
      return false;
    }
    if (whole_file(folder_ / page.name) == page.text) return true;
    if (record_->tool_version == by_.tool_version)
      say(Kind::differs,
          fmt::format("{} is not the page that result and evidence give: it was replaced or changed.",
                      page.name));
    else
      say(is_signed_ ? Kind::not_asked : Kind::cannot,
          fmt::format(
              "{} was drawn by version {} of the program, and this is {}: it cannot be drawn again to "
              "compare{}.",
              page.name, record_->tool_version, by_.tool_version,
              is_signed_ ? "; the signature covers it" : ""));
    return false;
  }

  void read_result() {
    const bool there = is_file_there(folder_ / "result.json");
    if (!there && !is_file_there(folder_ / "journal.jsonl"))
      throw std::runtime_error(fmt::format(
          "{} is not a run folder: it has neither result.json nor journal.jsonl", folder_.string()));
    require_plain_entries(folder_);
    journal_ = read_journal(folder_ / "journal.jsonl", 0);
    const std::optional<Seal>& seal = journal_.seal;
    ended_ = seal.has_value() || is_file_there(folder_ / checksums_name);
    if (!there) return;
    const std::string text = whole_file(folder_ / "result.json");
    try {
      record_ = record_from_json(text);
    } catch (const std::runtime_error& e) {
      say(Kind::differs, fmt::format("result.json does not count: {}.", e.what()));
      return;
    }
    v_.report_id = record_->report_id;
    v_.stored = record_->result.verdict;
    if (record_->result.complete && !seal)
      say(Kind::differs, "result.json says that the run is complete, but the journal lacks its last line.");
    if (seal && seal->result_sha256 != sha256_of(text))
      say(Kind::differs, "result.json is not the one that the journal's last line names.");
  }

  // False: there is no list that anything could be checked against.
  bool check_sums() {
    if (!is_file_there(folder_ / checksums_name)) {
      say(ended_ ? Kind::differs : Kind::cannot,
          ended_
              ? fmt::format("{} is missing, although the run got to its end.", checksums_name)
              : fmt::format("The run did not get to its end: there is no {} to check by.", checksums_name));
      return false;
    }
    try {
      sums_ = parse_checksums(whole_file(folder_ / checksums_name));
    } catch (const std::runtime_error& e) {
      say(Kind::differs, std::string(e.what()) + ".");
      return false;
    }
    std::size_t sound = 0;
    for (const FileSum& sum : sums_) sound += check_file(sum);
    if (sound > 0)
      say(Kind::agrees,
          fmt::format("{} of {} files are, byte by byte, as the run left them.", sound, sums_.size()));
    check_coverage();
    check_strangers();
    return true;
  }

  bool check_file(const FileSum& sum) {
    if (!is_file_there(folder_ / sum.file)) {
      say(Kind::differs, sum.file + " is missing.");
      return false;
    }
    if (sha256_of_file(folder_ / sum.file) == sum.sha256) return true;
    say(Kind::differs, sum.file + " is not as the run left it: its SHA-256 differs.");
    return false;
  }

  bool lists(const std::string& name) const {
    return std::any_of(sums_.begin(), sums_.end(), [&](const FileSum& s) { return s.file == name; });
  }

  void check_coverage() {
    std::vector<std::string> needed = {"result.json", "report.html",  "junit.xml",
                                       "capture.vcd", "timeline.csv", "journal.jsonl"};
    if (record_)
      for (const auto& [name, sha256] : record_->inputs) needed.push_back(name);
    for (const std::string& name : needed)
      if (!lists(name)) say(Kind::differs, fmt::format("{} does not list {}.", checksums_name, name));
    // The sums that the report prints are in result.json as well.
    if (!record_) return;
    std::vector<FileSum> printed = record_->evidence_files;
    for (const auto& [name, sha256] : record_->inputs) printed.push_back({name, sha256});
    for (const FileSum& sum : printed)
      if (lists(sum.file) && std::find(sums_.begin(), sums_.end(), sum) == sums_.end())
        say(Kind::differs,
            fmt::format("{} and result.json give {} different sums.", checksums_name, sum.file));
  }

  void check_strangers() {
    std::error_code error;
    for (const auto& entry : std::filesystem::directory_iterator(folder_, error)) {
      const std::string name = entry.path().filename().string();
      if (name != checksums_name && name != signature_name && !lists(name))
        say(Kind::not_asked, name + " is not part of the run: no checksum covers it.");
    }
  }

  void judge() {
    try {
      EvidenceLog evidence;
      const JudgedAgain again = judge_again(folder_, *record_, journal_, &evidence);
      if (compare(again)) check_causes(again, evidence);
      if (is_file_there(folder_ / readings_name)) read_again();
    } catch (const MoreThanStored& e) {
      say(Kind::differs, fmt::format("The evidence does not match: {}.", e.what()));
    } catch (const CannotJudgeAgain& e) {
      say(Kind::cannot, fmt::format("The evidence cannot be judged again: {}.", e.what()));
    } catch (const std::invalid_argument& e) {  // of steps that make no profile
      say(Kind::cannot, fmt::format("The evidence cannot be judged again: {}.", e.what()));
    }
  }

  void read_again() {
    const ClipAgain clip = read_clip_again(folder_);
    say(clip.outcome == ClipAgain::Outcome::same      ? Kind::agrees
        : clip.outcome == ClipAgain::Outcome::differs ? Kind::differs
                                                      : Kind::not_asked,
        clip.sentence);
  }

  // Looked for once more, with the candidates that were kept.
  void check_causes(const JudgedAgain& again, const EvidenceLog& evidence) {
    RunRecord due = *record_;
    due.gauge = again.gauge;
    due.result = again.result;
    try {
      due.causes = causes_of(due, evidence, kept_candidates(folder_, journal_));
    } catch (const FileErrors& e) {
      return say(Kind::differs,
                 fmt::format("A candidate of the causes cannot be read: {}.", to_line(e.errors.front())));
    } catch (const std::runtime_error& e) {
      return say(Kind::differs, fmt::format("The causes cannot be looked for again: {}.", e.what()));
    }
    const std::vector<std::string> all = differences_of_causes(record_->causes, due.causes);
    if (!all.empty() && record_->tool_version != by_.tool_version)
      return say(
          is_signed_ ? Kind::not_asked : Kind::cannot,
          fmt::format(
              "The causes were found by version {} of the program, and this is {}, which finds others.",
              record_->tool_version, by_.tool_version));
    differs(all);
    if (all.empty() && !due.causes.empty())
      say(Kind::agrees, "Looked for again, the causes are those of result.json.");
  }

  // False: the rows are not the same.
  bool compare(const JudgedAgain& again) {
    v_.judged_again = reported_verdict(again.result);
    const std::vector<std::string> all = differences(*record_, again, most_differences);
    for (const std::string& difference : all) say(Kind::differs, difference);
    if (all.empty())
      say(Kind::agrees,
          fmt::format("Judged again from the raw evidence: {}, with every row the same as in result.json.",
                      word(*v_.judged_again)));
    if (!again.same_bench)
      say(Kind::differs, "rig in result.json is not what the recording states of its time.");
    if (!again.same_timeline) say(Kind::differs, "timeline.csv does not match the raw evidence.");
    if (again.same_capture)
      say(Kind::agrees, "The pulses and lamps in capture.vcd are those that were judged.");
    else
      say(Kind::differs,
          "capture.vcd does not match the pulses of the inputs and the lamps of timeline.csv.");
    return all.empty();
  }

  const std::filesystem::path& folder_;
  const VerifyBy& by_;
  std::optional<RunRecord> record_;  // as result.json has it
  Journal journal_;
  bool is_signed_ = false;  // by the key that was given
  Verification v_;
  std::vector<FileSum> sums_;
  bool ended_ = false;
};

}  // namespace

Verification::Kind Verification::outcome() const {
  Kind worst = Kind::agrees;
  for (const Line& line : lines) {
    if (line.kind == Kind::differs) return Kind::differs;
    if (line.kind == Kind::cannot) worst = Kind::cannot;
  }
  return worst;
}

std::optional<std::string> first_doubt(const Verification& v) {
  const Kind outcome = v.outcome();
  if (outcome == Kind::agrees) return std::nullopt;
  for (const Verification::Line& line : v.lines)
    if (line.kind == outcome) {
      std::string text = line.text;
      if (text.ends_with('.')) text.pop_back();
      return text;
    }
  return std::nullopt;
}

Verification verify_run(const std::filesystem::path& folder, const VerifyBy& by) {
  return Verifier(folder, by).run();
}

}  // namespace tachproof
