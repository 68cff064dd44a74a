// Whether a run folder, or a suite's, can be believed: every file against the sums that were written when it
// ended, the shop's signature when a key is given, what is stated against the journal and the inputs, the
// verdict against the raw evidence, judged from scratch, and the pages drawn again.
//
// Sums alone show accidents and careless changes. Whoever can write the folder can write new sums; judging
// again shows a changed verdict all the same, and a signature shows everything. record/THREATS.md says what
// is promised against whom.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "bench/record/run_folder.h"

namespace tachproof {

struct Verification {
  enum class Kind {
    agrees,
    differs,    // the evidence says otherwise
    cannot,     // could not be checked
    not_asked,  // a remark; changes nothing
  };
  struct Line {
    Kind kind = Kind::not_asked;
    std::string text;  // a sentence
  };
  std::vector<Line> lines;
  std::string report_id;
  Verdict stored = Verdict::undecided;  // as result.json has it, or a suite's folders
  std::optional<Verdict> judged_again;  // nothing: it could not be

  // differs beats cannot beats agrees.
  Kind outcome() const;
};

// Who verifies: this program, with a key or without.
struct VerifyBy {
  DrawPages pages;                                          // as a run draws them
  std::string tool_version;                                 // pages of another version are drawn otherwise
  std::optional<std::filesystem::path> key = std::nullopt;  // the shop's public one
};

// Throws std::runtime_error when `folder` is no run folder or the key cannot
// be read.
Verification verify_run(const std::filesystem::path& folder, const VerifyBy& by);
// A suite's folder: its own files and every run in it. What suite.json says of
// its runs is compared with what they say. Throws std::runtime_error when
// `folder` is no suite's.
Verification verify_suite(const std::filesystem::path& folder, const VerifyBy& by);

struct SignBy {
  std::filesystem::path private_key;
  bool replace = false;  // a signature that is there and not by this key
};
// Verifies; then signs the sums of the folder, a run's or a suite's: writes SHA256SUMS.sig beside them. True:
// a signature by another key was replaced. Throws std::runtime_error with a sentence where anything differs
// or could not be checked, or where a signature by another key is there: nobody should sign that unawares.
bool sign_folder(const std::filesystem::path& folder, const SignBy& sign, VerifyBy by);

// A sentence why the run is not to be relied on, without its full stop; nothing when all agrees.
std::optional<std::string> first_doubt(const Verification& v);

}  // namespace tachproof
