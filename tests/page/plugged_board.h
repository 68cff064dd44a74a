// An emulated board in a process of its own, for a shop of a test: plugged in with this object, pulled out
// with it.
#pragma once

#include <gtest/gtest.h>
#include <signal.h>

#include <filesystem>
#include <string>
#include <vector>

#include "tests/page/child.h"
#include "tests/page/small_shop.h"

#ifdef TACHPROOF_EMULATED_BOARD

namespace tachproof {

inline std::string board_port(const SmallShop& shop) { return (shop.folder() / "port").string(); }

// rigs/board.yaml, whose board is at board_port().
inline void write_board_rig(const SmallShop& shop) {
  shop.write("rigs/board.yaml",
             "format: 1\nkind: rig\nsource: {kind: board, port: " + board_port(shop) +
                 "}\nwatch:\n  kind: board\n  wiring:\n    lamps: {near: {white: in0}, far: "
                 "{magenta: in1}}\n    active: high\n");
}

class PluggedBoard {
 public:
  // With a unit of this rig's: "bench-1" of SmallShop is sound, "bench-2" is not.
  PluggedBoard(const SmallShop& shop, const std::string& rig)
      : program_(words(shop.folder(), rig, board_port(shop)), shop.folder()) {
    EXPECT_TRUE(comes_true([&] { return std::filesystem::exists(board_port(shop)); })) << program_.err();
  }
  void pull_out() const { program_.signal(SIGKILL); }

 private:
  static std::vector<std::string> words(const std::filesystem::path& folder, const std::string& rig,
                                        const std::string& port) {
    const auto path = [&](const std::string& name) { return (folder / name).string(); };
    return {TACHPROOF_EMULATED_BOARD,
            "--gauge",
            path("gauges/two-lamp.yaml"),
            "--rig",
            path("rigs/board.yaml"),
            "--unit",
            path("rigs/" + rig + ".yaml"),
            "--link",
            port};
  }

  Child program_;
};

// The tile of that rig.
inline constexpr const char* board_tile = "rigs_board";

}  // namespace tachproof

#endif
