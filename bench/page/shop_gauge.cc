#include "bench/page/shop_gauge.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <stdexcept>

#include "bench/files/files.h"
#include "bench/record/disk.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

constexpr int deepest_file = 4;  // parts of its name, as Shop::files goes
constexpr std::uintmax_t most_gauge_bytes = 4 << 20;

bool in_a_run(const fs::path& folder, const fs::path& file) {
  std::error_code error;
  for (fs::path at = file.parent_path(); at != folder && at.has_relative_path(); at = at.parent_path())
    if (at.filename() == "runs" || fs::exists(at / "result.json", error)) return true;
  return false;
}

void look_in(const fs::path& folder, int depth, const std::vector<std::string>& endings,
             std::vector<fs::path>& into) {
  std::error_code error;
  for (fs::directory_iterator entry(folder, fs::directory_options::skip_permission_denied, error), end;
       !error && entry != end; entry.increment(error)) {
    const std::string name = entry->path().filename().string();
    if (name.starts_with('.') || entry->is_symlink(error)) continue;
    if (entry->is_directory(error)) {
      if (depth > 0 && name != "runs" && !fs::exists(entry->path() / "result.json", error))
        look_in(entry->path(), depth - 1, endings, into);
    } else if (entry->is_regular_file(error) &&
               std::find(endings.begin(), endings.end(), entry->path().extension().string()) !=
                   endings.end()) {
      into.push_back(entry->path());
    }
  }
}

}  // namespace

std::string ShopGauge::address() const { return "/gauges/" + path_encoded(file); }

std::string path_encoded(const std::string& relative) {
  std::string out;
  for (const fs::path& part : fs::path(relative))
    out += (out.empty() ? "" : "/") + url_encoded(part.string());
  return out;
}

std::optional<ShopGauge> shop_gauge(const Shop& shop, const std::string& file) {
  const std::optional<fs::path> path = shop.path_of(file);
  std::error_code error;
  if (!path || in_a_run(shop.folder(), *path) || fs::file_size(*path, error) > most_gauge_bytes ||
      kind_of_file(*path) != "gauge")
    return std::nullopt;
  ShopGauge opened{file, *path, whole_file(*path), {}, {}, {}};
  opened.sum = sha256_of(opened.text);
  try {
    opened.gauge = load_gauge(*path);
  } catch (const FileErrors& e) {
    for (FileError one : e.errors) {
      one.file = file;
      opened.trouble.push_back(to_line(one));
    }
  }
  return opened;
}

void on_gauge(Router& router, const Shop& shop, const std::string& method, const std::string& what,
              const GaugeHandler& handler) {
  std::string pattern = "/gauges";
  for (int parts = 1; parts <= deepest_file; ++parts) {
    pattern += "/*";
    router.on(method, what.empty() ? pattern : pattern + "/" + what,
              [&shop, handler](const Request& request) {
                const std::string file = fmt::format("{}", fmt::join(request.parts, "/"));
                const std::optional<ShopGauge> gauge = shop_gauge(shop, file);
                return gauge ? handler(*gauge, request)
                             : not_found("There is no gauge file " + file + " in this shop.");
              });
  }
}

std::vector<std::string> files_ending(const Shop& shop, const std::vector<std::string>& endings) {
  std::vector<fs::path> found;
  look_in(shop.folder(), deepest_file - 1, endings, found);
  std::vector<std::string> names;
  for (const fs::path& path : found) names.push_back(path.lexically_relative(shop.folder()).string());
  std::sort(names.begin(), names.end());
  return names;
}

std::string write_new_file(const Shop& shop, const std::string& folder, const std::string& stem,
                           const std::string& ending, std::string_view text) {
  fs::create_directories(shop.folder() / folder);
  const fs::path place = fs::canonical(shop.folder() / folder);
  const fs::path inside = place.lexically_relative(shop.folder());
  if (inside.empty() || *inside.begin() == "..")
    throw std::runtime_error("the folder " + folder + " leads out of the shop, so nothing is written there");
  for (int number = 1; number < 1000; ++number) {
    const std::string name = number == 1 ? stem + ending : fmt::format("{}-{}{}", stem, number, ending);
    if (fs::exists(fs::symlink_status(place / name))) continue;
    AppendFile file(place / name);
    file.append(text);
    file.sync();
    return (inside / name).lexically_normal().string();
  }
  throw std::runtime_error("there are a thousand files called " + stem + " already");
}

std::string file_stem(std::string_view name) {
  std::string stem;
  for (char c : name) {
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
    const bool plain = (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
    if (plain)
      stem += c;
    else if (!stem.empty() && stem.back() != '-')
      stem += '-';
  }
  while (stem.ends_with('-')) stem.pop_back();
  stem.resize(std::min<std::size_t>(stem.size(), 60));
  return stem.empty() ? "gauge" : stem;
}

}  // namespace tachproof
