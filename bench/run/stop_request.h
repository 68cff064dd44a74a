// Ctrl-C and SIGTERM, as a question that the runner asks between stretches.
#pragma once

#include <optional>
#include <string>

namespace tachproof {

// From now on SIGINT and SIGTERM no longer end the process: they are noted. A
// second one of the same kind ends it as usual.
void catch_stop_signals();

// "stopped by SIGINT" once a signal has come.
std::optional<std::string> stop_requested();

}  // namespace tachproof
