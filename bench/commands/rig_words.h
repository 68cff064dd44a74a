// What a rig to be made consists of: from options, and at a terminal by asking
// for what is missing.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "bench/commands/camera_words.h"
#include "bench/commands/command.h"
#include "bench/files/files.h"

namespace tachproof {

struct RigWanted {
  RigFile rig;  // without the wiring of a board's inputs or of GPIO lines
  // Inputs or lines that lamps may be wired to; empty: this watcher has no wires.
  std::vector<std::string> candidates;
};

class RigWords {
 public:
  void declare(Arguments& arguments);
  bool any() const;
  // `out`: the rig file; paths in it are relative to its folder. Throws UsageError
  // with the option's name when something is impossible, or missing with nobody
  // there to ask; RigError when the only board is asked for and there is none.
  RigWanted wanted(const std::filesystem::path& out) const;

 private:
  std::string source_kind() const;
  std::string watch_kind(const std::string& source) const;
  void refuse_strays(const std::string& source, const std::string& watch) const;
  std::string board_port() const;
  ScpiSetting generator() const;
  CameraSettings camera(const std::filesystem::path& out) const;
  std::string gpio_chip() const;
  std::vector<std::string> gpio_lines() const;

  std::string source_, watch_;
  std::string port_;                                                                        // board
  std::string address_, baud_, amplitude_v_, offset_v_, load_ohm_, answer_ms_, settle_ms_;  // scpi
  std::string chip_, lines_, bias_;                                                         // gpio
  std::string unit_;                                                                        // simulated
  std::string device_, clip_;                                                               // camera
  CameraWords camera_;
};

}  // namespace tachproof
