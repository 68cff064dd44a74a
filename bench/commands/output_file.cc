#include "bench/commands/output_file.h"

#include <fmt/format.h>

#include <fstream>
#include <initializer_list>
#include <optional>
#include <stdexcept>
#include <string_view>
#include <system_error>

#include "bench/commands/command.h"
#include "bench/files/regular_file.h"
#include "bench/record/disk.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

// A suite's folder has its runs two below it.
constexpr int folders_up = 3;

std::optional<fs::path> evidence_around(const fs::path& file) {
  std::error_code error;
  fs::path folder = fs::weakly_canonical(fs::absolute(file, error).parent_path(), error);
  for (int i = 0; i < folders_up && !folder.empty(); ++i) {
    const bool run =
        is_file_there(folder / "journal.jsonl") || (i == 0 && is_file_there(folder / "result.json"));
    if (run || is_file_there(folder / "suite.json")) return folder;
    if (folder == folder.parent_path()) break;
    folder = folder.parent_path();
  }
  return std::nullopt;
}

// SQLite, "Database File Format", 1.3: the first 16 bytes.
bool is_database(const fs::path& file) {
  if (!is_file_there(file)) return false;
  constexpr std::string_view header("SQLite format 3\0", 16);
  std::string start(header.size(), '\0');
  std::ifstream in(file, std::ios::binary);
  return in.read(start.data(), static_cast<std::streamsize>(start.size())) && start == header;
}

bool belongs_to_a_database(const fs::path& file) {
  const std::string name = file.string();
  for (const std::string_view ending : {"-wal", "-shm", "-journal"})
    if (name.ends_with(ending) && is_database(name.substr(0, name.size() - ending.size()))) return true;
  return is_database(file);
}

}  // namespace

void require_output_place(const fs::path& file) {
  const std::string name = file.string();
  if (file.filename().empty()) throw UsageError("'" + name + "' is no name for a file to write");
  std::error_code error;
  if (fs::is_directory(file, error)) throw UsageError(name + " is a folder; name a file to write");
  if (const std::optional<std::string> odd = odd_kind(file))
    throw UsageError(fmt::format("{} is {}, which is never written to; name a file", name, *odd));
  if (const std::optional<fs::path> folder = evidence_around(file))
    throw UsageError(fmt::format("{} lies in {}, whose run stays as it was left; name a file elsewhere", name,
                                 folder->string()));
  if (belongs_to_a_database(file))
    throw UsageError(name +
                     " is a database, such as the history is, and is never replaced; name another file");
}

void write_output(const fs::path& file, const std::string& text) {
  require_output_place(file);
  try {
    Replacement(file, text).move_into_place();
  } catch (const std::runtime_error& e) {
    throw UsageError(e.what());
  }
}

}  // namespace tachproof
