// A video whose own times show a gap, as those of a recorder do that lost frames.
#pragma once

#include <filesystem>

#include "core/base/time.h"

namespace tachproof::test {

// Every frame of a Matroska file (RFC 9559) from this time on comes `by` later.
// Throws std::runtime_error for a file that is none.
void delay_matroska(const std::filesystem::path& file, Nanos from, Nanos by);

}  // namespace tachproof::test
