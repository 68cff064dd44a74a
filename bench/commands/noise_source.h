// What --noise may name: a noise file, or a recording to be replayed.
#pragma once

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include "bench/commands/command.h"
#include "bench/files/files.h"
#include "bench/files/replay.h"
#include "bench/formats/recording.h"
#include "bench/formats/tach_edges.h"

namespace tachproof {

// `read` reads a recording that is an argument: one that cannot be read is bad usage.
template <class Read>
TachEdges of_argument(const Read& read) {
  try {
    return read();
  } catch (const RecordingError& e) {
    throw UsageError(e.what());
  }
}

// YAML is a noise file, anything else a recording; `between`: see read_tach_edges(). Throws FileErrors or
// UsageError.
inline Noise load_noise_source(
    const std::string& file, const std::string& channel, const std::function<void()>& between = [] {}) {
  const std::string ending = std::filesystem::path(file).extension().string();
  if (ending == ".yaml" || ending == ".yml") return load_noise(file);
  const TachEdges tach = of_argument([&] { return read_tach_edges(file, channel, true, between); });
  if (!tach.trouble.empty()) throw UsageError(tach.trouble);
  constexpr std::size_t fewest = 1000;
  if (tach.edges.size() < fewest)
    throw UsageError(file + ": " + std::to_string(tach.edges.size()) +
                     " tach edges; at least 1000 are replayed");
  std::vector<double> seconds;
  for (const Nanos edge : tach.edges) seconds.push_back(to_seconds(edge - tach.edges.front()));
  Noise noise;
  noise.replay = deviations_of(seconds);
  return noise;
}

}  // namespace tachproof
