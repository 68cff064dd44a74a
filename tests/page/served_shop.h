// `tachproof serve` as a process of its own, on a shop of a few small files.
#pragma once

#include <cstdint>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "tests/bench/scratch_folder.h"
#include "tests/page/child.h"
#include "tests/page/http.h"

namespace tachproof {

// Gauge and scenarios of few seconds, a sound unit and a faulty one: two rigs, and jobs for both.
class SmallShop {
 public:
  SmallShop();
  const std::filesystem::path& folder() const { return scratch_.path(); }
  void write(const std::string& name, const std::string& text) const;
  // A job of this rig's: "bench-1" or "bench-2".
  void write_job(const std::string& file, const std::string& name, const std::string& play,
                 const std::string& rig, const std::string& more = {}) const;
  // The run folders, by name: of each part of a job.
  std::vector<std::string> runs() const;
  nlohmann::json result(const std::string& run) const;

 private:
  ScratchFolder scratch_;
};

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

// The tile of a rig of SmallShop.
inline constexpr const char* first_tile = "rigs_bench-1";
inline constexpr const char* second_tile = "rigs_bench-2";

}  // namespace tachproof
