// The edges of a recorded tach signal, whatever kind of file holds it: a VCD or
// CSV with a tach channel, or a text file of edge times.
#pragma once

#include <filesystem>
#include <functional>
#include <span>
#include <string>
#include <vector>

#include "core/base/time.h"

namespace tachproof {

struct TachEdges {
  std::vector<Nanos> edges;  // increasing
  Nanos resolution = 1;      // of their instants
  std::string trouble;       // the file stops in mid-record: a sentence
};

// One channel of a VCD or CSV file, its rising or falling edges; `channel` is
// not looked at for a file of edge times: one number in seconds on each line,
// increasing, after an optional header line. `between` is called again and again while the file is read; what
// it throws ends that. Throws RecordingError.
TachEdges read_tach_edges(
    const std::filesystem::path& file, const std::string& channel, bool rising,
    const std::function<void()>& between = [] {});

inline constexpr std::size_t most_tach_edges = 20'000'000;

// The same, of any number of edges: `take` gets them part by part. The answer has no edges.
TachEdges stream_tach_edges(const std::filesystem::path& file, const std::string& channel, bool rising,
                            const std::function<void(std::span<const Nanos>)>& take);

}  // namespace tachproof
