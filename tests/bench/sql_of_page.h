// The SQL that bench/history/QUERIES.md shows.
#pragma once

#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

namespace tachproof {

// Every ```sql block; the roles' own apart.
inline std::vector<std::string> sql_blocks_of_page(bool roles) {
  std::ifstream page(std::filesystem::path(TACHPROOF_SOURCE_DIR) / "bench/history/QUERIES.md");
  std::vector<std::string> blocks;
  bool inside = false, marked = false, of_roles = false;
  for (std::string line; std::getline(page, line);) {
    if (line == "<!-- roles -->") {
      marked = true;
    } else if (line == "```sql") {
      inside = true;
      of_roles = marked;
      marked = false;
      if (of_roles == roles) blocks.emplace_back();
    } else if (line == "```") {
      inside = false;
    } else if (inside && of_roles == roles) {
      blocks.back() += line + "\n";
    }
  }
  return blocks;
}

inline std::vector<std::string> queries_of_page() { return sql_blocks_of_page(false); }
inline std::string roles_of_page() { return sql_blocks_of_page(true).at(0); }

}  // namespace tachproof
