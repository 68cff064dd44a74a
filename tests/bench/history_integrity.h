// Whether a history's file is as SQLite wants it, and every run in it is whole.
#pragma once

#include <sqlite3.h>

#include <filesystem>
#include <string>

namespace tachproof {

// "ok", or what is wrong.
inline std::string file_integrity(const std::filesystem::path& file) {
  sqlite3* db = nullptr;
  std::string answer;
  sqlite3_open(file.c_str(), &db);
  sqlite3_busy_timeout(db, 10'000);
  const auto keep = [](void* into, int, char** values, char**) {
    *static_cast<std::string*>(into) += values[0] == nullptr ? "null" : values[0];
    return 0;
  };
  sqlite3_exec(db, "PRAGMA integrity_check; PRAGMA foreign_key_check", keep, &answer, nullptr);
  // A run is in with all its rows or not at all.
  sqlite3_exec(db, "SELECT ', incomplete' FROM runs WHERE id NOT IN (SELECT run FROM boundaries)", keep,
               &answer, nullptr);
  sqlite3_close(db);
  return answer;
}

}  // namespace tachproof
