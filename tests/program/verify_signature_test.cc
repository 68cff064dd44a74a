// `report --sign`, and `--verify --key`.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "bench/record/signature.h"
#include "tests/bench/error_of.h"
#include "tests/program/verify_bench.h"

namespace tachproof {
namespace {

using test::Verify;
using testing::HasSubstr;

using files::private_pem_3;

std::string bytes_of(const std::string& hex) {
  std::string bytes;
  for (std::size_t i = 0; i < hex.size(); i += 2)
    bytes += static_cast<char>(std::stoi(hex.substr(i, 2), nullptr, 16));
  return bytes;
}

// RFC 8032, 7.1, from memory; a slip in any digit would not verify.
TEST_F(Verify, SignsAsRfc8032Does) {
  const std::string key = (scratch / "KEY.pem").string();
  const std::string pub = (scratch / "PUB.pem").string();
  const std::string test_1 =
      "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5"
      "f05"
      "95bbe24655141438e7a100b";
  EXPECT_EQ(sign_ed25519("", key), bytes_of(test_1));
  EXPECT_TRUE(verify_ed25519("", bytes_of(test_1), pub));
  EXPECT_FALSE(verify_ed25519("x", bytes_of(test_1), pub));
  EXPECT_FALSE(verify_ed25519("", bytes_of(test_1).substr(0, 63), pub));
  const std::string test_3 =
      "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15"
      "e97"
      "16ed28dc027beceea1ec40a";
  scratch.write("3.pem", private_pem_3);
  EXPECT_EQ(sign_ed25519(bytes_of("af82"), scratch / "3.pem"), bytes_of(test_3));
  EXPECT_TRUE(verify_ed25519(bytes_of("af82"), bytes_of(test_3), scratch / "other-PUB.pem"));
}

TEST_F(Verify, ASignatureVouchesForTheWholeFolder) {
  run("faulty-rig.yaml", "run");
  const Finished sign = tachproof("report run --sign KEY.pem");
  EXPECT_EQ(sign.status, 0) << sign.err;
  EXPECT_EQ(sign.out, "Signed: run/SHA256SUMS.sig\n");
  const Finished good = tachproof("report run --verify --key PUB.pem");
  EXPECT_EQ(good.status, 0) << good.out;
  EXPECT_THAT(good.out, HasSubstr("agrees   SHA256SUMS is signed with the key of PUB.pem.\n"));
  EXPECT_EQ(tachproof("report run --verify --key other-PUB.pem").status, 1);

  // A forger without the key, who knows the program: everything fits together but the signature.
  const std::string result = whole_file(scratch / "run" / "result.json");
  for (const char* name : {"result.json", "journal.jsonl", "report.html", "junit.xml"}) {
    std::string text = whole_file(scratch / "run" / name);
    for (std::size_t at = 0; (at = text.find("K17", at)) != std::string::npos;) text.replace(at, 3, "K18");
    scratch.write(std::string("run/") + name, text);
  }
  forge_sums("run", result);
  EXPECT_EQ(tachproof("report run --verify").status, 0) << "only the name differs: the evidence cannot tell";
  const Finished caught = tachproof("report run --verify --key PUB.pem");
  EXPECT_EQ(caught.status, 1);
  EXPECT_THAT(caught.out, HasSubstr("DIFFERS  SHA256SUMS.sig is not the signature of SHA256SUMS"));
}

TEST_F(Verify, ASignatureThatIsMissingVouchesForNothing) {
  run("rig.yaml", "run");
  EXPECT_EQ(tachproof("report run --verify --key PUB.pem").status, 1);
}

TEST_F(Verify, SignsNothingThatIsNotAsTheRunLeftIt) {
  run("rig.yaml", "run");
  scratch.write("run/report.html", "PASS");
  const Finished sign = tachproof("report run --sign KEY.pem");
  EXPECT_EQ(sign.status, 2);
  EXPECT_EQ(
      sign.err,
      "tachproof report: run is not signed: report.html is not as the run left it: its SHA-256 differs\n");
  EXPECT_FALSE(std::filesystem::exists(scratch / "run" / "SHA256SUMS.sig"));
  EXPECT_EQ(error_of([&] { sign_ed25519("", scratch / "PUB.pem"); }),
            (scratch / "PUB.pem").string() + " holds no Ed25519 private key in PEM without a passphrase");
}

TEST_F(Verify, SignsNoVerdictThatTheEvidenceDoesNotBear) {
  run("faulty-rig.yaml", "run");
  const std::string result = whole_file(scratch / "run" / "result.json");
  scratch.write("run/result.json", files::replaced(result, "\"fail\"", "\"pass\""));
  forge_sums("run", result);
  const Finished sign = tachproof("report run --sign KEY.pem");
  EXPECT_EQ(sign.status, 2);
  EXPECT_EQ(
      sign.err,
      "tachproof report: run is not signed: verdict is \"pass\" in result.json and \"fail\" when judged "
      "again\n");
  scratch.write("run/SHA256SUMS", "");
  EXPECT_EQ(tachproof("report run --sign KEY.pem").status, 2);
  EXPECT_FALSE(std::filesystem::exists(scratch / "run" / "SHA256SUMS.sig"));
}

TEST_F(Verify, ReplacesAnotherKeysSignatureOnlyWhenTold) {
  run("rig.yaml", "run");
  scratch.write("other-KEY.pem", private_pem_3);
  ASSERT_EQ(tachproof("report run --sign other-KEY.pem").status, 0);
  EXPECT_EQ(tachproof("report run --sign other-KEY.pem").status, 0) << "once more by the same key";
  const Finished refused = tachproof("report run --sign KEY.pem");
  EXPECT_EQ(refused.status, 2);
  EXPECT_EQ(
      refused.err,
      "tachproof report: run/SHA256SUMS.sig is there already, and not by the key of KEY.pem: somebody else "
      "has signed, or the sums are others now. Check who has; --replace-signature puts yours in its place\n");
  EXPECT_EQ(tachproof("report run --verify --key other-PUB.pem").status, 0);
  const Finished replaced = tachproof("report run --sign KEY.pem --replace-signature");
  EXPECT_EQ(replaced.status, 0);
  EXPECT_EQ(
      replaced.out,
      "Replaced: the signature that was there was not by the key of KEY.pem\nSigned: run/SHA256SUMS.sig\n");
  EXPECT_EQ(tachproof("report run --verify --key PUB.pem").status, 0);
  EXPECT_EQ(tachproof("report run --replace-signature").err,
            "tachproof report: --replace-signature is for --sign\n");
}

TEST_F(Verify, OpensslAgreesWithTheSignature) {
  if (run_process({"openssl", "version"}, scratch.path()).status != 0) GTEST_SKIP() << "no openssl program";
  run("rig.yaml", "run");
  tachproof("report run --sign KEY.pem");
  const Finished check = run_process({"openssl", "pkeyutl", "-verify", "-rawin", "-pubin", "-inkey",
                                      "PUB.pem", "-sigfile", "run/SHA256SUMS.sig", "-in", "run/SHA256SUMS"},
                                     scratch.path());
  EXPECT_EQ(check.status, 0) << check.out << check.err;
  // And keys that openssl makes.
  run_process({"openssl", "genpkey", "-algorithm", "ed25519", "-out", "new.pem"}, scratch.path());
  run_process({"openssl", "pkey", "-in", "new.pem", "-pubout", "-out", "new-pub.pem"}, scratch.path());
  EXPECT_TRUE(verify_ed25519("abc", sign_ed25519("abc", scratch / "new.pem"), scratch / "new-pub.pem"));
}

}  // namespace
}  // namespace tachproof
