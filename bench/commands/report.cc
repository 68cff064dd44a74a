#include <cstdio>
#include <nlohmann/json.hpp>

#include "bench/commands/command.h"
#include "bench/commands/terminal.h"
#include "bench/commands/verifying.h"
#include "bench/record/checksums.h"
#include "bench/record/disk.h"
#include "bench/record/result_json.h"
#include "bench/record/run_folder.h"
#include "bench/record/summary.h"
#include "bench/record/text.h"
#include "bench/reports/run_report.h"
#include "bench/run/suite.h"
#include "bench/run/verify.h"

namespace tachproof {

namespace {

using Kind = Verification::Kind;

std::string headline(Kind outcome) {
  switch (outcome) {
    case Kind::differs: return "NOT VERIFIED: the evidence says otherwise.";
    case Kind::cannot: return "CANNOT BE VERIFIED: the folder does not show enough.";
    default: return "VERIFIED: the report says what the evidence says.";
  }
}

int status_of(Kind outcome) {
  return outcome == Kind::differs ? exit_fail : outcome == Kind::cannot ? exit_undecided : exit_pass;
}

const char* mark(Kind kind) {
  switch (kind) {
    case Kind::agrees: return "agrees   ";
    case Kind::differs: return "DIFFERS  ";
    case Kind::cannot: return "CANNOT   ";
    case Kind::not_asked: return "note     ";
  }
  return "";
}

std::string verification_json(const Verification& v) {
  const auto word_of = [](Kind kind) {
    return kind == Kind::agrees    ? "agrees"
           : kind == Kind::differs ? "differs"
           : kind == Kind::cannot  ? "cannot"
                                   : "note";
  };
  nlohmann::ordered_json lines = nlohmann::ordered_json::array();
  for (const Verification::Line& line : v.lines)
    lines.push_back({{"word", word_of(line.kind)}, {"message", valid_utf8(line.text)}});
  const Kind outcome = v.outcome();
  const nlohmann::ordered_json json = {
      {"outcome", outcome == Kind::differs  ? "not-verified"
                  : outcome == Kind::cannot ? "cannot-be-verified"
                                            : "verified"},
      {"report_id", valid_utf8(v.report_id)},
      {"verdict", word(v.stored)},
      {"judged_again",
       v.judged_again ? nlohmann::ordered_json(word(*v.judged_again)) : nlohmann::ordered_json(nullptr)},
      {"lines", std::move(lines)}};
  return json.dump(2) + "\n";
}

std::string verification_text(const Verification& v, int width) {
  std::string text;
  constexpr std::size_t indent = 9;
  for (const Verification::Line& line : v.lines) {
    std::string lead = mark(line.kind);
    const auto room = static_cast<std::size_t>(std::max(width, 40)) - indent;
    for (const std::string& part : wrapped(printable(line.text), room)) {
      text += lead + part + "\n";
      lead.assign(indent, ' ');
    }
  }
  return text + headline(v.outcome()) + "\n";
}

class ReportCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "report",
        "prints, draws, verifies or signs a stored run or suite",
        "RUN... [--html FILE] [--junit FILE] [--verify [--key PUB.pem]] [--sign KEY.pem "
        "[--replace-signature]] [--json]",
        "Reads a run folder, complete or cut short, and prints its table of verdicts again. With --html it "
        "draws the report again, into a file elsewhere. The folder is not changed. The exit status is that "
        "of the run.\n\n"
        "With --verify it checks every file against SHA256SUMS, which was written when the run ended. What "
        "result.json states of rig, unit and inputs is compared with the journal and the copies of the "
        "files. Then it judges the raw evidence from scratch, compares it row by row with result.json, and "
        "draws the pages again to compare them. With --key it checks the signature in SHA256SUMS.sig as "
        "well.\n\n"
        "With --sign it verifies first. Then the sums are signed with the shop's own Ed25519 key (RFC 8032), "
        "as OpenSSL makes and checks them: openssl genpkey -algorithm ed25519 -out KEY.pem; openssl pkey -in "
        "KEY.pem -pubout -out PUB.pem. A signature by another key stays, unless --replace-signature is "
        "given.\n\n"
        "For a suite's folder it prints, and with --html and --junit writes, the whole suite again. Several "
        "folders are the shards of one suite. If a shard is missing, its pairs count as not played, and the "
        "suite is undecided. --verify and --sign take a suite's folder too: its own files, and every run in "
        "it.",
        "0  the stored run is a pass; with --verify: verified\n"
        "1  a fail; with --verify: the evidence says otherwise\n"
        "2  bad usage, or no run folder\n"
        "3  undecided, or cut short; with --verify: the folder does not show enough",
        {"tachproof report runs/20260131-142501-acceptance",
         "tachproof report runs/20260131-142501-acceptance --verify"}};
  }

  void declare(Arguments& arguments) override {
    arguments.words(folders_, "RUN", "The run folder; or a suite's, or those of its shards.");
    arguments.option(html_, "--html", "FILE", "Draws the report again, into this file.");
    arguments.option(junit_, "--junit", "FILE", "Writes a suite's JUnit again, into this file.");
    arguments.flag(verify_, "--verify", "Checks the folder's files and judges the evidence again.");
    arguments.option(key_, "--key", "PUB.pem", "The shop's public key, for --verify.");
    arguments.option(sign_, "--sign", "KEY.pem", "Verifies, and signs the sums with the shop's private key.");
    arguments.flag(replace_, "--replace-signature", "With --sign: also where another key has signed.");
    arguments.flag(json_, "--json", "Prints the stored result, or the verification, as JSON.");
  }

  int run() override {
    if (!key_.empty() && !verify_) throw UsageError("--key is for --verify");
    if (!sign_.empty() && verify_) throw UsageError("--sign and --verify are two commands");
    if (replace_ && sign_.empty()) throw UsageError("--replace-signature is for --sign");
    const bool is_of_a_suite = is_suite(folders_[0]);
    if (folders_.size() > 1) {
      if (!is_of_a_suite) throw UsageError("several folders must be the shards of one suite");
      if (verify_ || !sign_.empty())
        throw UsageError("--verify and --sign take one folder: each shard's by itself");
    }
    if (verify_) return verify(is_of_a_suite);
    if (!sign_.empty()) return sign();
    if (is_of_a_suite) return suite();
    if (!junit_.empty()) throw UsageError("--junit is for suites; a run folder has its junit.xml");
    const StoredRun stored = load();
    if (!html_.empty()) draw(stored);
    const RunRecord& record = stored.record;
    print(json_ ? result_json(record) : verdict_text(record, columns_of(stdout), wants_colour(stdout)));
    return tells_findings(record) ? exit_pass : exit_status(reported_verdict(record.result));
  }

 private:
  static void print(const std::string& text) { std::fwrite(text.data(), 1, text.size(), stdout); }

  template <class Action>
  static auto or_usage_error(Action action) -> decltype(action()) {
    try {
      return action();
    } catch (const std::runtime_error& e) {
      throw UsageError(e.what());
    }
  }

  int suite() const {
    return or_usage_error([&] {
      const SuiteRecord record = merged({folders_.begin(), folders_.end()}, ".");
      if (!html_.empty()) {
        const std::filesystem::path beside = std::filesystem::path(html_).parent_path();
        save(html_, suite_html(merged({folders_.begin(), folders_.end()}, beside.empty() ? "." : beside)));
      }
      if (!junit_.empty()) save(junit_, suite_junit(record));
      if (json_) {
        print(suite_json(record));
      } else {
        const int width = columns_of(stdout);
        const bool colour = wants_colour(stdout);
        print(suite_head(record, width));
        for (const SuitePair& pair : record.pairs) print(suite_row(record, pair, width, colour));
        print(suite_end(record, width, colour));
      }
      return static_cast<int>(exit_status(record.verdict()));
    });
  }

  static void save(const std::string& file, const std::string& text) {
    Replacement replacement(file, text);
    replacement.move_into_place();
  }

  StoredRun load() const {
    return or_usage_error([&] { return load_run(folders_[0]); });
  }

  int verify(bool is_of_a_suite) const {
    const VerifyBy by = this_program(key_);
    const Verification v = or_usage_error(
        [&] { return is_of_a_suite ? verify_suite(folders_[0], by) : verify_run(folders_[0], by); });
    print(json_ ? verification_json(v) : verification_text(v, columns_of(stdout)));
    return status_of(v.outcome());
  }

  int sign() const {
    const bool replaced = or_usage_error([&] {
      return sign_folder(folders_[0], {sign_, replace_}, this_program());
    });
    const std::string file = (std::filesystem::path(folders_[0]) / signature_name).string();
    if (replaced) print("Replaced: the signature that was there was not by the key of " + sign_ + "\n");
    print("Signed: " + file + "\n");
    return exit_pass;
  }

  void draw(const StoredRun& stored) const {
    or_usage_error([&] { save(html_, report_html(stored.record, stored.trace)); });
  }

  std::vector<std::string> folders_;
  std::string html_, junit_, key_, sign_;
  bool verify_ = false, replace_ = false;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_report_command() { return std::make_unique<ReportCommand>(); }

}  // namespace tachproof
