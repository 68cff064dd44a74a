// A file that a command was asked to write: --html, --junit, --out.
#pragma once

#include <filesystem>
#include <string>

namespace tachproof {

// Throws UsageError with a sentence where writing there would lose something: in the folder of a
// run or a suite, which stays as it was left; in place of a database, the history's or another's; in
// place of what is no regular file, be it a device, a pipe or a link.
void require_output_place(const std::filesystem::path& file);

// The same, then writes it, whole or not at all. UsageError as well when it cannot be written.
void write_output(const std::filesystem::path& file, const std::string& text);

}  // namespace tachproof
