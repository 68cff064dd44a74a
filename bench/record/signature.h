// Ed25519 signatures (RFC 8032, pure Ed25519) with the shop's own key, in the
// PEM files that `openssl genpkey -algorithm ed25519` and `openssl pkey
// -pubout` write.
//
// Failures are std::runtime_error with a sentence.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

namespace tachproof {

// 64 bytes. Throws when the file holds no Ed25519 private key, or one that
// wants a passphrase.
std::string sign_ed25519(std::string_view message, const std::filesystem::path& private_key);

// False for a signature that is not this key's of this message. Throws when
// the file holds no Ed25519 public key.
bool verify_ed25519(std::string_view message, std::string_view signature,
                    const std::filesystem::path& public_key);

// The same by the private key, whose other half is known from it.
bool is_own_signature(std::string_view message, std::string_view signature,
                      const std::filesystem::path& private_key);

}  // namespace tachproof
