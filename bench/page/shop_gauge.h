// A gauge file of the shop, opened for its page; and places for new files of the shop.
#pragma once

#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "bench/page/request.h"
#include "bench/page/shop.h"
#include "core/gauge/gauge.h"

namespace tachproof {

struct ShopGauge {
  std::string file;  // relative
  std::filesystem::path path;
  std::string text, sum;             // as it is now, and its SHA-256
  std::optional<Gauge> gauge;        // of a sound one
  std::vector<std::string> trouble;  // of another one: the lines of `check`
  std::string address() const;       // "/gauges/gauges/drumlin.yaml"
};

// Nothing where the shop has no such gauge file; a copy in a run folder is none.
std::optional<ShopGauge> shop_gauge(const Shop& shop, const std::string& file);

// The same address for every depth of folders that a shop has: "/gauges/FILE" and, with `what`,
// "/gauges/FILE/what". Those with a word come first.
using GaugeHandler = std::function<Response(const ShopGauge&, const Request&)>;
void on_gauge(Router& router, const Shop& shop, const std::string& method, const std::string& what,
              const GaugeHandler& handler);

// Each part of a path for itself: "gauges/two%20words.yaml".
std::string path_encoded(const std::string& relative);
// Files with one of these endings (".csv"), as Shop::files has those of a kind.
std::vector<std::string> files_ending(const Shop& shop, const std::vector<std::string>& endings);

// Writes a file that is not there yet: FOLDER/folder/stem.ending, or stem-2 and so on. Gives its relative
// name. Throws std::runtime_error with a sentence; nothing outside of the shop is written.
std::string write_new_file(const Shop& shop, const std::string& folder, const std::string& stem,
                           const std::string& ending, std::string_view text);
// "Tor two-lamp!" is "tor-two-lamp".
std::string file_stem(std::string_view name);

}  // namespace tachproof
