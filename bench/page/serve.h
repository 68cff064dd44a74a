// `tachproof serve`: above all other commands, since it plays what they play.
#pragma once

#include <memory>

#include "bench/commands/command.h"

namespace tachproof {

std::unique_ptr<Command> make_serve_command();

}  // namespace tachproof
