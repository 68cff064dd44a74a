// Who may ask this server anything.
//
// It listens on the loopback interface, but any page in any browser on this machine can send requests
// there. So a request must name the server by a host that is its own (a foreign name that resolves to
// 127.0.0.1 is refused: DNS rebinding), it must hold the cookie that was given for the key in the address
// that `serve` printed, and what changes anything must come from a page of this server (Origin, or
// Sec-Fetch-Site where a browser leaves Origin out).
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace tachproof {

// What a request says of where it comes from; empty: it does not say.
struct RequestOrigin {
  std::string_view method, host, origin, fetch_site, cookie;
  std::string_view key;  // of the address: ?key=...
};

class Guard {
 public:
  // `own_origins`: "http://127.0.0.1:8765"; scheme, host and port, as browsers write them. The key and the
  // cookie are drawn from the system's random source; throws std::runtime_error where it fails.
  explicit Guard(std::vector<std::string> own_origins);

  enum class Says {
    welcome,
    give_cookie,   // the key is right: answer with cookie_header() and send it on without the key
    wrong_host,    // 421
    wrong_origin,  // 403
    no_cookie,     // 403
  };
  Says asked(const RequestOrigin& from) const;

  const std::string& key() const { return key_; }
  std::string cookie_header() const;  // the value of Set-Cookie

 private:
  std::vector<std::string> origins_;
  std::string key_, cookie_;
  bool secure_;  // all of our origins are https
};

// 32 characters, 160 random bits.
std::string random_word();

}  // namespace tachproof
