#include "bench/page/guard.h"

#include <sys/random.h>

#include <algorithm>
#include <array>
#include <stdexcept>

namespace tachproof {
namespace {

constexpr std::string_view cookie_name = "tachproof_page";

// The same time for every wrong word.
bool same_secret(std::string_view a, std::string_view b) {
  if (a.size() != b.size()) return false;
  unsigned difference = 0;
  for (std::size_t i = 0; i < a.size(); ++i)
    difference |= static_cast<unsigned char>(a[i]) ^ static_cast<unsigned char>(b[i]);
  return difference == 0;
}

std::string_view host_of(std::string_view origin) {
  const std::size_t slashes = origin.find("://");
  return slashes == origin.npos ? origin : origin.substr(slashes + 3);
}

std::string_view cookie_in(std::string_view header, std::string_view name) {
  while (!header.empty()) {
    const std::size_t end = std::min(header.find(';'), header.size());
    std::string_view one = header.substr(0, end);
    header.remove_prefix(std::min(end + 1, header.size()));
    while (one.starts_with(' ')) one.remove_prefix(1);
    if (one.size() > name.size() && one.starts_with(name) && one[name.size()] == '=')
      return one.substr(name.size() + 1);
  }
  return {};
}

}  // namespace

std::string random_word() {
  constexpr std::string_view letters = "abcdefghijklmnopqrstuvwxyz234567";  // RFC 4648, base 32
  std::array<unsigned char, 32> bytes{};
  if (getrandom(bytes.data(), bytes.size(), 0) != static_cast<ssize_t>(bytes.size()))
    throw std::runtime_error("the system gave no random numbers");
  std::string word;
  for (const unsigned char byte : bytes) word += letters[byte % letters.size()];
  return word;
}

Guard::Guard(std::vector<std::string> own_origins)
    : origins_(std::move(own_origins)),
      key_(random_word()),
      cookie_(random_word()),
      secure_(std::all_of(origins_.begin(), origins_.end(),
                          [](const std::string& origin) { return origin.starts_with("https://"); })) {}

Guard::Says Guard::asked(const RequestOrigin& from) const {
  const bool own_host = std::any_of(origins_.begin(), origins_.end(),
                                    [&](const std::string& origin) { return host_of(origin) == from.host; });
  if (!own_host) return Says::wrong_host;
  if (!same_secret(cookie_in(from.cookie, cookie_name), cookie_)) {
    const bool reads = from.method == "GET" || from.method == "HEAD";
    return reads && same_secret(from.key, key_) ? Says::give_cookie : Says::no_cookie;
  }
  const bool own_origin = std::find(origins_.begin(), origins_.end(), from.origin) != origins_.end();
  if (!from.origin.empty() && !own_origin) return Says::wrong_origin;
  if (from.method != "GET" && from.method != "HEAD" && from.origin.empty() &&
      from.fetch_site != "same-origin")
    return Says::wrong_origin;
  // A foreign page may link here, but not look at what comes back.
  if (from.fetch_site == "cross-site") return Says::wrong_origin;
  return Says::welcome;
}

std::string Guard::cookie_header() const {
  return std::string(cookie_name) + "=" + cookie_ + "; Path=/; HttpOnly; SameSite=Strict" +
         (secure_ ? "; Secure" : "");
}

}  // namespace tachproof
