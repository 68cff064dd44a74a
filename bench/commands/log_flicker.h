// `deadband` of an rpm log: did the lamps flicker in that lap, and with which deadband would they not?
#pragma once

#include <string>

#include "bench/commands/command.h"

namespace tachproof {

// The words of the command line that make a log of --noise FILE.
struct LogWords {
  std::string time, rpm, time_in, from, to, again;
  void declare(Arguments& arguments);
  bool any() const;
};

// Throws UsageError or FileErrors. `step_rpm` between two widths of the deadband.
ExitStatus tell_log_flicker(const std::string& gauge_file, const std::string& log_file, const LogWords& words,
                            double step_rpm, bool json);

}  // namespace tachproof
