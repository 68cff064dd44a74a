#include "bench/files/replay.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "bench/files/errors.h"
#include "bench/formats/edge_time.h"

namespace tachproof {
namespace {

constexpr std::size_t fewest_edges = 3;
constexpr std::size_t most_edges = 1'000'000;
constexpr double latest_edge_s = 9e9;  // as nanoseconds in 64 bits can have it
const std::string rule =
    "a text file of edge times in seconds, one on each line and increasing, after an optional header; 3 to "
    "1000000 "
    "edges";

}  // namespace

Replay replay_of(std::string_view text) {
  std::vector<double> edges;
  std::size_t number = 0;
  while (!text.empty()) {
    const std::size_t length = std::min(text.find('\n'), text.size());
    const std::string_view line = text.substr(0, length);
    text.remove_prefix(std::min(length + 1, text.size()));
    ++number;
    if (without_blanks(line).empty()) continue;
    const std::optional<double> time = number_alone(line.substr(0, line.find(',')));
    const std::string where = "line " + std::to_string(number);
    if (!time) {
      if (edges.empty() && number == 1) continue;
      return "'" + on_one_line(line) + "' on " + where + "; " + rule;
    }
    if (!(std::abs(*time) < latest_edge_s))
      return "'" + on_one_line(line) + "' on " + where + ", which is no time of a recording; " + rule;
    if (!edges.empty() && *time <= edges.back())
      return "a time that does not increase, on " + where + "; " + rule;
    edges.push_back(*time);
    if (edges.size() > most_edges) return "more than 1000000 edges; " + rule;
  }
  if (edges.size() < fewest_edges) return std::to_string(edges.size()) + " edges; " + rule;
  return deviations_of(edges);
}

std::vector<double> deviations_of(const std::vector<double>& edges) {
  const auto intervals = static_cast<double>(edges.size() - 1);
  const double period = (edges.back() - edges.front()) / intervals;
  std::vector<double> result;
  result.reserve(edges.size() - 1);
  for (std::size_t k = 0; k + 1 < edges.size(); ++k)
    result.push_back((edges[k] - edges.front()) / period - static_cast<double>(k));
  return result;
}

}  // namespace tachproof
