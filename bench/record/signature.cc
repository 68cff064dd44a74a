#include "bench/record/signature.h"

#include <fmt/format.h>
#include <openssl/evp.h>
#include <openssl/pem.h>

#include <memory>
#include <stdexcept>

#include "bench/record/disk.h"

namespace tachproof {
namespace {

constexpr std::size_t signature_size = 64;

using Key = std::unique_ptr<EVP_PKEY, void (*)(EVP_PKEY*)>;

const unsigned char* bytes(std::string_view text) {
  return reinterpret_cast<const unsigned char*>(text.data());
}

// Asks nobody: a bench has no one at the keyboard to give a passphrase.
int no_passphrase(char*, int, int, void*) { return -1; }

template <class Read>
Key read_key(const std::filesystem::path& file, const char* what, Read read) {
  const std::string pem = whole_file(file);
  const std::unique_ptr<BIO, int (*)(BIO*)> memory(BIO_new_mem_buf(pem.data(), static_cast<int>(pem.size())),
                                                   &BIO_free);
  Key key(memory == nullptr ? nullptr : read(memory.get(), nullptr, &no_passphrase, nullptr), &EVP_PKEY_free);
  if (key == nullptr || EVP_PKEY_get_id(key.get()) != EVP_PKEY_ED25519)
    throw std::runtime_error(
        fmt::format("{} holds no Ed25519 {} key in PEM without a passphrase", file.string(), what));
  return key;
}

using Context = std::unique_ptr<EVP_MD_CTX, void (*)(EVP_MD_CTX*)>;

Context new_context() {
  Context context(EVP_MD_CTX_new(), &EVP_MD_CTX_free);
  if (context == nullptr) throw std::runtime_error("cannot compute a signature");
  return context;
}

}  // namespace

std::string sign_ed25519(std::string_view message, const std::filesystem::path& private_key) {
  const Key key = read_key(private_key, "private", &PEM_read_bio_PrivateKey);
  const Context context = new_context();
  std::string signature(signature_size, '\0');
  std::size_t size = signature.size();
  if (EVP_DigestSignInit(context.get(), nullptr, nullptr, nullptr, key.get()) != 1 ||
      EVP_DigestSign(context.get(), reinterpret_cast<unsigned char*>(signature.data()), &size, bytes(message),
                     message.size()) != 1 ||
      size != signature_size)
    throw std::runtime_error("cannot sign with " + private_key.string());
  return signature;
}

namespace {

bool is_signature(std::string_view message, std::string_view signature, const Key& key,
                  const std::filesystem::path& file) {
  const Context context = new_context();
  if (EVP_DigestVerifyInit(context.get(), nullptr, nullptr, nullptr, key.get()) != 1)
    throw std::runtime_error("cannot verify with " + file.string());
  return EVP_DigestVerify(context.get(), bytes(signature), signature.size(), bytes(message),
                          message.size()) == 1;
}

}  // namespace

bool verify_ed25519(std::string_view message, std::string_view signature,
                    const std::filesystem::path& public_key) {
  return is_signature(message, signature, read_key(public_key, "public", &PEM_read_bio_PUBKEY), public_key);
}

bool is_own_signature(std::string_view message, std::string_view signature,
                      const std::filesystem::path& private_key) {
  return is_signature(message, signature, read_key(private_key, "private", &PEM_read_bio_PrivateKey),
                      private_key);
}

}  // namespace tachproof
