// A file that a command was asked to write, whole or not at all said to be there.
#pragma once

#include <fstream>
#include <string>

#include "bench/commands/command.h"

namespace tachproof {

// Throws UsageError when it cannot be written.
inline void write_whole_file(const std::string& file, const std::string& text) {
  std::ofstream out(file, std::ios::binary | std::ios::trunc);
  out << text;
  out.close();
  if (!out) throw UsageError(file + " cannot be written");
}

}  // namespace tachproof
