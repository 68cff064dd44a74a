#include "bench/page/run_folders.h"

#include <algorithm>
#include <chrono>

#include "bench/run/suite_folders.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

constexpr const char* result_file = "result.json";
constexpr auto not_there = fs::file_time_type::min();
// A part that has only just been made may get its result in a moment.
constexpr auto parts_come_within = std::chrono::minutes(1);

// `visit`: of each folder straight in this one that is no link.
template <class Visit>
void each_folder(const fs::path& folder, Visit visit) {
  std::error_code error;
  for (fs::directory_iterator entry(folder, error), end; !error && entry != end; entry.increment(error)) {
    std::error_code of_this;
    if (entry->is_symlink(of_this) || !entry->is_directory(of_this)) continue;
    visit(entry->path());
  }
}

bool holds(const fs::path& folder, const char* file) {
  std::error_code error;
  return fs::exists(folder / file, error);
}

}  // namespace

RunFolders::Seen RunFolders::look(const std::string& name) const {
  const fs::path folder = shop_.runs() / name;
  Seen seen;
  std::error_code error;
  seen.changed = fs::last_write_time(folder, error);
  if (holds(folder, result_file)) {
    seen.what = Seen::What::run;
  } else if (holds(folder, suite_file)) {
    seen.what = Seen::What::suite;
  } else {
    each_folder(folder, [&](const fs::path& part) {
      if (holds(part, result_file)) seen.parts.push_back(name + "/" + part.filename().string());
    });
  }
  return seen;
}

bool RunFolders::Stamp::settled() const {
  return changed == not_there || fs::file_time_type::clock::now() - changed > std::chrono::seconds(2);
}

RunFolders::Stamp RunFolders::stamp_of(const fs::path& path) {
  Stamp stamp;
  std::error_code error;
  stamp.changed = fs::last_write_time(path, error);
  if (error) return {not_there, 0};
  if (fs::is_regular_file(path, error)) stamp.size = fs::file_size(path, error);
  return stamp;
}

bool RunFolders::others_are_as_seen() const {
  return std::all_of(others_.begin(), others_.end(), [this](const std::string& name) {
    std::error_code error;
    const auto changed = seen_.at(name).changed;
    return fs::last_write_time(shop_.runs() / name, error) == changed &&
           fs::file_time_type::clock::now() - changed >= parts_come_within;
  });
}

FolderNames RunFolders::names(const HistoryPlace& history, const std::function<Known()>& known) {
  const std::lock_guard lock(mutex_);
  const Stamp of_history = stamp_of(history.text()), of_runs = stamp_of(shop_.runs());
  if (history.is_server()) return listed(known());
  if (kept_ && kept_->history == of_history && kept_->runs == of_runs && others_are_as_seen())
    return kept_->names;
  kept_.reset();
  FolderNames names = listed(known());
  if (of_history.settled() && of_runs.settled()) kept_ = {of_history, of_runs, names};
  return names;
}

FolderNames RunFolders::listed(const Known& known) {
  FolderNames names;
  others_.clear();
  each_folder(shop_.runs(), [&](const fs::path& folder) {
    const std::string name = folder.filename().string();
    if (known.contains(name)) return;
    auto found = seen_.find(name);
    std::error_code error;
    if (found == seen_.end() ||
        (found->second.what == Seen::What::others &&
         (found->second.changed != fs::last_write_time(folder, error) ||
          fs::file_time_type::clock::now() - found->second.changed < parts_come_within)))
      found = seen_.insert_or_assign(name, look(name)).first;
    const Seen& seen = found->second;
    if (seen.what == Seen::What::others) others_.push_back(name);
    if (seen.what == Seen::What::run) names.runs.push_back(name);
    if (seen.what == Seen::What::suite) names.suites.push_back(name);
    for (const std::string& part : seen.parts)
      if (!known.contains(part)) names.runs.push_back(part);
  });
  std::sort(names.runs.rbegin(), names.runs.rend());
  std::sort(names.suites.rbegin(), names.suites.rend());
  return names;
}

std::optional<fs::path> folder_in_runs(const Shop& shop, const std::string& name) {
  std::error_code error;
  const fs::path path = fs::canonical(shop.runs() / name, error);
  if (error || !fs::is_directory(path, error)) return std::nullopt;
  const fs::path inside = path.lexically_relative(shop.runs());
  if (inside.empty() || *inside.begin() == ".." || *inside.begin() == ".") return std::nullopt;
  return path;
}

std::vector<std::string> parts_of_job(const Shop& shop, const std::string& name) {
  std::vector<std::string> parts;
  const std::optional<fs::path> folder = folder_in_runs(shop, name);
  if (!folder) return parts;
  each_folder(*folder, [&](const fs::path& part) {
    if (holds(part, result_file)) parts.push_back(name + "/" + part.filename().string());
  });
  std::sort(parts.begin(), parts.end());
  return parts;
}

std::vector<std::string> files_in(const fs::path& folder) {
  std::vector<std::string> files;
  std::error_code error;
  for (fs::directory_iterator entry(folder, error), end; !error && entry != end; entry.increment(error)) {
    std::error_code of_this;
    if (!entry->is_symlink(of_this) && entry->is_regular_file(of_this))
      files.push_back(entry->path().filename().string());
  }
  std::sort(files.begin(), files.end());
  return files;
}

std::string moment_in_name(const std::string& name) {
  constexpr std::string_view form = "00000000-000000";
  if (name.size() < form.size()) return {};
  for (std::size_t i = 0; i < form.size(); ++i) {
    const bool digit = name[i] >= '0' && name[i] <= '9';
    if (form[i] == '-' ? name[i] != '-' : !digit) return {};
  }
  const auto part = [&](std::size_t at, std::size_t size) { return name.substr(at, size); };
  return part(0, 4) + "-" + part(4, 2) + "-" + part(6, 2) + " " + part(9, 2) + ":" + part(11, 2) + ":" +
         part(13, 2);
}

}  // namespace tachproof
