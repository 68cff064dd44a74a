// The folders beneath runs/ of a shop: runs, parts of jobs, suites. Told from their names and from which
// files are there; no result is read.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <mutex>
#include <optional>
#include <string>
#include <unordered_map>
#include <unordered_set>
#include <vector>

#include "bench/history/history_place.h"
#include "bench/page/shop.h"

namespace tachproof {

// Names beneath runs/: "20310314-142501-plan", "20310314-142501-job/1-acceptance". Newest first, as names
// begin with the day and the hour.
struct FolderNames {
  std::vector<std::string> runs;  // without those that are `known`, and those of suites
  std::vector<std::string> suites;
};

// Looks into a folder again only where it has changed, and lists them again only where one has come or gone,
// so that ten thousand are told at once. Safe for all threads.
class RunFolders {
 public:
  using Known = std::unordered_set<std::string>;
  explicit RunFolders(const Shop& shop) : shop_(shop) {}
  // `known`: reads which names `history` has. It is not asked as long as that file and runs/ stay as they
  // are; of a server nobody sees that from here, so it is asked each time.
  FolderNames names(const HistoryPlace& history, const std::function<Known()>& known);

 private:
  // Of a file or a folder; one that is not there has none.
  struct Stamp {
    std::filesystem::file_time_type changed;
    std::uintmax_t size = 0;
    bool operator==(const Stamp&) const = default;
    bool settled() const;  // long enough ago that another change would show
  };
  static Stamp stamp_of(const std::filesystem::path& path);
  struct Kept {
    Stamp history, runs;
    FolderNames names;
  };
  struct Seen {
    enum class What { run, suite, others } what = What::others;
    std::filesystem::file_time_type changed;  // of `others`
    std::vector<std::string> parts;           // runs in it
  };
  Seen look(const std::string& name) const;
  FolderNames listed(const Known& known);
  // A folder that was no run may have become one, or got another part, without a change of runs/.
  bool others_are_as_seen() const;

  const Shop& shop_;
  std::mutex mutex_;
  std::unordered_map<std::string, Seen> seen_;  // by name
  std::vector<std::string> others_;             // of the last list: neither runs nor suites
  std::optional<Kept> kept_;
};

// A folder somewhere beneath runs/ that is there; nothing for what is elsewhere.
std::optional<std::filesystem::path> folder_in_runs(const Shop& shop, const std::string& name);
// The runs straight in such a folder: of a job its parts, in their order.
std::vector<std::string> parts_of_job(const Shop& shop, const std::string& name);
// The regular files straight in a folder, by name: what may be downloaded.
std::vector<std::string> files_in(const std::filesystem::path& folder);

// "2031-03-14 14:25:01" of a name that begins with such a moment; else "".
std::string moment_in_name(const std::string& name);

}  // namespace tachproof
