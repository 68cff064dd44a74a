// `tachproof serve` as a process of its own.
#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <string>

#include "tests/page/child.h"
#include "tests/page/http.h"
#include "tests/page/small_shop.h"

namespace tachproof {

class ServedShop {
 public:
  explicit ServedShop(const std::filesystem::path& folder, const std::string& options = "--no-history");

  std::uint16_t port() const { return port_; }
  // With the key.
  const std::string& address() const { return address_; }
  std::string own_origin() const { return "http://127.0.0.1:" + std::to_string(port_); }
  Child& program() { return program_; }

  // As a browser that has the cookie asks. Headers that are given replace the usual ones; "" leaves one out.
  HttpAnswer get(const std::string& target) const;
  HttpAnswer post(const std::string& target, const std::string& form,
                  const std::map<std::string, std::string>& headers = {}) const;
  const std::string& cookie() const { return cookie_; }
  // What the tile of this rig is doing: "waiting", "running", ...
  std::string state(const std::string& tile) const;
  bool comes_to(const std::string& tile, const std::string& state) const;

 private:
  Child program_;
  std::string address_, cookie_;
  std::uint16_t port_ = 0;
};

}  // namespace tachproof
