#include "bench/page/shop.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>
#include <stdexcept>

#include "bench/files/files.h"
#include "bench/page/shipped_files.h"
#include "bench/record/disk.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

constexpr int deepest = 3;

bool is_yaml(const fs::path& file) {
  const std::string ending = file.extension().string();
  return ending == ".yaml" || ending == ".yml";
}

void yaml_files(const fs::path& folder, int depth, std::vector<fs::path>& into) {
  std::error_code error;
  for (fs::directory_iterator entry(folder, fs::directory_options::skip_permission_denied, error), end;
       !error && entry != end; entry.increment(error)) {
    const std::string name = entry->path().filename().string();
    if (name.starts_with('.')) continue;
    if (entry->is_symlink(error)) continue;
    if (entry->is_directory(error)) {
      // A run folder holds copies of files.
      const bool of_runs = name == "runs" || fs::exists(entry->path() / "result.json", error);
      if (depth > 0 && !of_runs) yaml_files(entry->path(), depth - 1, into);
    } else if (entry->is_regular_file(error) && is_yaml(entry->path())) {
      into.push_back(entry->path());
    }
  }
}

fs::path data_folder() {
  const char* const data = std::getenv("XDG_DATA_HOME");
  if (data != nullptr && *data == '/') return fs::path(data) / "tachproof";
  const char* const home = std::getenv("HOME");
  if (home == nullptr || *home == '\0')
    throw std::runtime_error("neither XDG_DATA_HOME nor HOME is set: name a folder to serve");
  return fs::path(home) / ".local" / "share" / "tachproof";
}

}  // namespace

Shop::Shop(const fs::path& folder) {
  std::error_code error;
  folder_ = fs::canonical(folder, error);
  if (error || !fs::is_directory(folder_))
    throw std::runtime_error(folder.string() + " is no folder that can be served");
}

std::vector<std::string> Shop::files(const std::string& kind) const {
  std::vector<fs::path> all;
  yaml_files(folder_, deepest, all);
  std::vector<std::string> names;
  for (const fs::path& file : all)
    if (kind_of_file(file) == kind) names.push_back(name_of(file));
  std::sort(names.begin(), names.end());
  return names;
}

std::vector<ShopJob> Shop::jobs() const {
  std::vector<ShopJob> jobs;
  for (const std::string& name : files("job")) {
    ShopJob job{name, fs::path(name).stem().string(), {}, {}};
    try {
      const Job read = load_job(folder_ / name);
      job.name = read.name;
      job.rig = name_of(read.rig);
    } catch (const FileErrors& e) {
      job.trouble = e.what();
    }
    jobs.push_back(std::move(job));
  }
  return jobs;
}

std::string Shop::name_of(const fs::path& path) const {
  std::error_code error;
  const fs::path whole = fs::weakly_canonical(path, error);
  const fs::path relative = (error ? path : whole).lexically_relative(folder_);
  return relative.empty() || *relative.begin() == ".." ? path.string() : relative.string();
}

std::optional<fs::path> Shop::path_of(const std::string& relative) const {
  std::error_code error;
  const fs::path path = fs::canonical(folder_ / relative, error);
  if (error || !fs::is_regular_file(path, error)) return std::nullopt;
  const fs::path inside = path.lexically_relative(folder_);
  if (inside.empty() || *inside.begin() == ".." || fs::path(relative).is_absolute()) return std::nullopt;
  return path;
}

std::optional<fs::path> Shop::run_folder(const std::string& name) const {
  std::error_code error;
  const fs::path path = fs::canonical(runs() / name, error);
  if (error || !fs::is_directory(path, error) || !fs::exists(path / "result.json", error))
    return std::nullopt;
  const fs::path inside = path.lexically_relative(folder_ / "runs");
  if (inside.empty() || *inside.begin() == ".." || *inside.begin() == ".") return std::nullopt;
  return path;
}

fs::path shipped_shop() {
  const fs::path folder = data_folder() / "shop";
  try {
    for (const ShippedFile& file : shipped_files()) {
      const fs::path path = folder / file.name;
      if (fs::exists(path)) continue;
      fs::create_directories(path.parent_path());
      Replacement(path, file.text).move_into_place();
    }
  } catch (const std::exception& e) {
    throw std::runtime_error(
        fmt::format("the shop that ships cannot be written to {}: {}", folder.string(), e.what()));
  }
  return folder;
}

}  // namespace tachproof
