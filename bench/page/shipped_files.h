// Files of the source tree that the program carries: the shop that ships.
#pragma once

#include <span>
#include <string_view>

namespace tachproof {

struct ShippedFile {
  std::string_view name;  // "fixtures/gauges/drumlin.yaml"
  std::string_view text;
};
std::span<const ShippedFile> shipped_files();

}  // namespace tachproof
