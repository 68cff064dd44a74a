// Run folders of the program itself, to be verified, changed and signed.
#pragma once

#include <gtest/gtest.h>

#include <string>
#include <vector>

#include "bench/commands/verifying.h"
#include "bench/record/checksums.h"
#include "bench/record/disk.h"
#include "bench/run/verify.h"
#include "tests/bench/scratch_folder.h"
#include "tests/program/files_for_tests.h"
#include "tests/program/keys_for_tests.h"
#include "tests/program/process.h"

namespace tachproof::test {

class Verify : public testing::Test {
 protected:
  void SetUp() override {
    scratch.write("gauge.yaml", files::gauge);
    scratch.write("scenario.yaml", files::scenario);
    scratch.write("rig.yaml", files::rig);
    scratch.write("faulty-rig.yaml", files::faulty_rig);
    scratch.write("wiring.yaml", files::wiring);
    scratch.write("KEY.pem", files::private_pem);
    scratch.write("PUB.pem", files::public_pem);
    scratch.write("other-PUB.pem", files::public_pem_3);
  }

  Finished tachproof(const std::string& words) { return run_process(command_line(words), scratch.path()); }
  void run(const std::string& rig, const std::string& out, const std::string& scenario = "scenario.yaml") {
    tachproof("run " + scenario + " --gauge gauge.yaml --rig " + rig + " --unit-serial K17 --out " + out);
  }

  Verification verified(const std::string& folder) { return verify_run(scratch / folder, this_program()); }

  std::string lines_of(const Verification& v, Verification::Kind kind) {
    std::string text;
    for (const Verification::Line& line : v.lines)
      if (line.kind == kind) text += line.text + "\n";
    return text;
  }

  // New sums for what the folder holds now, the journal's seal with them: what
  // a forger would do who knows the program.
  void forge_sums(const std::string& folder, const std::string& old_result) {
    std::string journal = whole_file(scratch / folder / "journal.jsonl");
    const std::string was = sha256_of(old_result);
    journal.replace(journal.find(was), was.size(), sha256_of_file(scratch / folder / "result.json"));
    scratch.write(folder + "/journal.jsonl", journal);
    std::vector<std::string> names;
    for (const FileSum& sum : parse_checksums(whole_file(scratch / folder / "SHA256SUMS")))
      names.push_back(sum.file);
    scratch.write(folder + "/SHA256SUMS", checksums_text(sums_of(scratch / folder, names)));
  }

  ScratchFolder scratch;
};

}  // namespace tachproof::test
