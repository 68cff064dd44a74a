#include "bench/run/sign.h"

#include <fmt/format.h>

#include <stdexcept>
#include <system_error>

#include "bench/files/regular_file.h"
#include "bench/record/checksums.h"
#include "bench/record/disk.h"
#include "bench/record/signature.h"
#include "bench/run/suite.h"

namespace tachproof {
bool check_signature(Verification& v, const std::filesystem::path& folder,
                     const std::optional<std::filesystem::path>& key) {
  using Kind = Verification::Kind;
  const auto say = [&](Kind kind, std::string text) { v.lines.push_back({kind, std::move(text)}); };
  const bool is_signed = is_file_there(folder / signature_name);
  if (!key) {
    say(Kind::not_asked,
        is_signed
            ? fmt::format("{} is there; give the shop's public key with --key to check it.", signature_name)
            : fmt::format("{} is not signed: anyone who can write to the folder could have written new sums.",
                          checksums_name));
    return false;
  }
  if (!is_signed) {
    say(Kind::differs,
        fmt::format("there is no {}: the folder is not signed, so the key cannot check it.", signature_name));
    return false;
  }
  const bool good =
      verify_ed25519(whole_file(folder / checksums_name), whole_file(folder / signature_name), *key);
  say(good ? Kind::agrees : Kind::differs,
      good ? fmt::format("{} is signed with the key of {}.", checksums_name, key->string())
           : fmt::format("{} is not the signature of {} by the key of {}.", signature_name, checksums_name,
                         key->string()));
  return good;
}

bool sign_folder(const std::filesystem::path& folder, const SignBy& sign, VerifyBy by) {
  by.key.reset();
  if (const std::optional<std::string> doubt =
          first_doubt(is_suite(folder) ? verify_suite(folder, by) : verify_run(folder, by)))
    throw std::runtime_error(fmt::format("{} is not signed: {}", folder.string(), *doubt));
  const std::filesystem::path file = folder / signature_name;
  const std::string text = whole_file(folder / checksums_name);
  std::error_code error;
  const bool replaces = std::filesystem::exists(std::filesystem::symlink_status(file, error)) &&
                        !(is_file_there(file) && is_own_signature(text, whole_file(file), sign.private_key));
  if (replaces && !sign.replace)
    throw std::runtime_error(fmt::format(
        "{} is there already, and not by the key of {}: somebody else has signed, or the sums are "
        "others now. Check who has; --replace-signature puts yours in its place",
        file.string(), sign.private_key.string()));
  Replacement signature(file, sign_ed25519(text, sign.private_key));
  signature.move_into_place();
  sync_folder(folder);
  return replaces;
}

}  // namespace tachproof
