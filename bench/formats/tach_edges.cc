#include "bench/formats/tach_edges.h"

#include <array>
#include <cmath>
#include <limits>
#include <numeric>
#include <optional>

#include "bench/files/regular_file.h"
#include "bench/formats/edge_time.h"
#include "bench/formats/line_buffer.h"
#include "bench/formats/recording.h"

namespace tachproof {
namespace {

// As nanoseconds in 64 bits can have them.
std::optional<double> seconds_on(std::string_view line) {
  const std::optional<double> value = number_alone(line);
  return value && std::abs(*value) < 9e9 ? value : std::nullopt;
}

constexpr std::size_t longest_edge_line = 4096;
constexpr std::size_t looks_up_every = 4096;  // lines, or changes

FileLines lines_of(const std::filesystem::path& file) {
  try {
    return {RegularFile(file), longest_edge_line};
  } catch (const NotReadable& e) {
    throw RecordingError(file.string() + ": " + e.why);
  }
}

// A file of edge times has one column.
bool has_one_column(const std::filesystem::path& file) {
  FileLines lines = lines_of(file);
  std::string first, second;
  lines.next(first);
  lines.next(second);
  return seconds_on(second).has_value() && first.find(',') == std::string::npos &&
         first.find(';') == std::string::npos;
}

// The step that all times are whole numbers of: decimals that were printed.
Nanos resolution_of(const std::vector<Nanos>& edges) {
  Nanos step = 0;
  for (const Nanos edge : edges) step = std::gcd(step, edge);
  Nanos power = 1;
  while (step > 0 && step % (power * 10) == 0 && power < ns_per_ms) power *= 10;
  return power;
}

TachEdges read_times(const std::filesystem::path& file, const std::function<void()>& between) {
  FileLines lines = lines_of(file);
  TachEdges result;
  std::size_t number = 0;
  std::string line;
  for (FileLines::Got got; (got = lines.next(line)) != FileLines::Got::end;) {
    if (++number % looks_up_every == 0) between();
    const std::string_view text = without_blanks(line);
    if (text.empty() && got != FileLines::Got::too_long) continue;
    const std::optional<double> seconds = seconds_on(text);
    const auto complain = [&](const std::string& what) {
      throw RecordingError(file.string() + ":" + std::to_string(number) + ": " + what);
    };
    if (!seconds) {
      if (number == 1) continue;
      complain(got == FileLines::Got::too_long
                   ? std::string("a line without end; the time of an edge in seconds")
                   : as_shown(text) + "; the time of an edge in seconds");
    }
    const Nanos at = from_seconds(*seconds);
    if (!result.edges.empty() && at <= result.edges.back())
      complain("a time that does not increase; each edge comes after the one before");
    result.edges.push_back(at);
    if (result.edges.size() > most_tach_edges) complain("more than 20000000 edges");
  }
  result.resolution = resolution_of(result.edges);
  return result;
}

}  // namespace

TachEdges read_tach_edges(const std::filesystem::path& file, const std::string& channel, bool rising,
                          const std::function<void()>& between) {
  if (has_one_column(file)) return read_times(file, between);
  const std::unique_ptr<RecordingReader> reader = open_recording(file, {channel});
  TachEdges result;
  result.resolution = std::max<Nanos>(reader->resolution(), 1);
  const Level before = rising ? Level::low : Level::high;
  const Level after = rising ? Level::high : Level::low;
  Level level = Level::unknown;
  std::array<ChannelChange, looks_up_every> block;
  while (const std::size_t n = reader->next(block)) {
    between();
    for (std::size_t i = 0; i < n; ++i) {
      const bool edge = level == before && block[i].level == after;
      level = block[i].level;
      if (!edge || (!result.edges.empty() && block[i].at <= result.edges.back())) continue;
      result.edges.push_back(block[i].at);
      if (result.edges.size() > most_tach_edges)
        throw RecordingError(file.string() + ": more than 20000000 edges on the channel " + channel);
    }
  }
  if (reader->truncated()) result.trouble = reader->trouble();
  return result;
}

}  // namespace tachproof
