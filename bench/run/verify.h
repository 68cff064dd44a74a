// Whether a run folder can be believed: every file against the sums that were
// written when the run ended, the shop's signature when a key is given, and the
// verdict against the raw evidence, judged from scratch.
//
// Sums alone show accidents and careless changes. Whoever can write the folder
// can write new sums; judging again shows a changed verdict all the same, and
// a signature shows everything.
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
  Verdict stored = Verdict::undecided;  // as result.json has it
  std::optional<Verdict> judged_again;  // nothing: it could not be

  // differs beats cannot beats agrees.
  Kind outcome() const;
};

// Throws std::runtime_error when `folder` is no run folder or the key cannot
// be read.
Verification verify_run(const std::filesystem::path& folder,
                        const std::optional<std::filesystem::path>& public_key = std::nullopt);

// Signs the sums of a run folder: writes SHA256SUMS.sig beside them. Throws
// std::runtime_error when there are none, or a file is not as they say: nobody
// should sign what is not so.
void sign_run(const std::filesystem::path& folder, const std::filesystem::path& private_key);

}  // namespace tachproof
