#include "bench/formats/channel_names.h"

#include <fmt/format.h>

#include <algorithm>
#include <numeric>

#include "bench/formats/line_buffer.h"

namespace tachproof {
namespace {

// Levenshtein's distance: insertions, deletions and substitutions.
std::size_t distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 0; i < a.size(); ++i) {
    std::size_t diagonal = row[0]++;
    for (std::size_t j = 0; j < b.size(); ++j) {
      const std::size_t substituted = diagonal + (a[i] == b[j] ? 0 : 1);
      diagonal = row[j + 1];
      row[j + 1] = std::min({substituted, row[j] + 1, diagonal + 1});
    }
  }
  return row.back();
}

}  // namespace

std::string no_such_channel(std::string_view wanted, const std::vector<std::string>& there) {
  constexpr std::size_t most_listed = 24;
  constexpr std::size_t longest_compared = 100;
  if (there.empty()) return fmt::format("no channel {} in it; it has no channel at all", as_shown(wanted));
  std::string message = fmt::format("no channel {} in it; ", as_shown(wanted));
  const std::string* nearest = nullptr;
  std::size_t least = std::max<std::size_t>(wanted.size() / 3, 1) + 1;
  for (const std::string& name : there) {
    if (name.size() > longest_compared || wanted.size() > longest_compared) continue;
    const std::size_t d = distance(wanted, name);
    if (d < least) {
      least = d;
      nearest = &name;
    }
  }
  if (nearest != nullptr) message += fmt::format("did you mean {}? ", as_shown(*nearest));
  const std::size_t listed = std::min(there.size(), most_listed);
  message += fmt::format("there are: {}", fmt::join(there.begin(), there.begin() + listed, ", "));
  if (listed < there.size()) message += fmt::format(" and {} more", there.size() - listed);
  return message;
}

}  // namespace tachproof
