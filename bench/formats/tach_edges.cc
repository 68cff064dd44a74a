#include "bench/formats/tach_edges.h"

#include <fmt/format.h>

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
Nanos decimals_of(Nanos step) {
  Nanos power = 1;
  while (step > 0 && step % (power * 10) == 0 && power < ns_per_ms) power *= 10;
  return power;
}

using Take = std::function<void(std::span<const Nanos>)>;

// Gives edges on that come one by one, and remembers the last.
class Edges {
 public:
  explicit Edges(const Take& take) : take_(take) {}
  bool increases(Nanos at) const { return !last_ || at > *last_; }
  void add(Nanos at) {
    last_ = at;
    part_.push_back(at);
    if (part_.size() == looks_up_every) give();
  }
  void give() {
    take_(part_);
    part_.clear();
  }

 private:
  const Take& take_;
  std::vector<Nanos> part_;
  std::optional<Nanos> last_;
};

TachEdges stream_times(const std::filesystem::path& file, const Take& take) {
  FileLines lines = lines_of(file);
  Edges edges(take);
  Nanos step = 0;
  std::size_t number = 0;
  std::string line;
  for (FileLines::Got got; (got = lines.next(line)) != FileLines::Got::end;) {
    if (++number % looks_up_every == 0) edges.give();
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
    if (!edges.increases(at)) complain("a time that does not increase; each edge comes after the one before");
    step = std::gcd(step, at);
    edges.add(at);
  }
  edges.give();
  return {{}, decimals_of(step), {}};
}

}  // namespace

TachEdges stream_tach_edges(const std::filesystem::path& file, const std::string& channel, bool rising,
                            const Take& take) {
  if (has_one_column(file)) return stream_times(file, take);
  const std::unique_ptr<RecordingReader> reader = open_recording(file, {channel});
  TachEdges result;
  result.resolution = std::max<Nanos>(reader->resolution(), 1);
  const Level before = rising ? Level::low : Level::high;
  const Level after = rising ? Level::high : Level::low;
  Level level = Level::unknown;
  Edges edges(take);
  std::array<ChannelChange, looks_up_every> block;
  while (const std::size_t n = reader->next(block)) {
    for (std::size_t i = 0; i < n; ++i) {
      if (level == before && block[i].level == after && edges.increases(block[i].at)) edges.add(block[i].at);
      level = block[i].level;
    }
    edges.give();
  }
  if (reader->truncated()) result.trouble = reader->trouble();
  return result;
}

TachEdges read_tach_edges(const std::filesystem::path& file, const std::string& channel, bool rising,
                          const std::function<void()>& between) {
  std::vector<Nanos> all;
  TachEdges result = stream_tach_edges(file, channel, rising, [&](std::span<const Nanos> edges) {
    between();
    all.insert(all.end(), edges.begin(), edges.end());
    if (all.size() > most_tach_edges)
      throw RecordingError(fmt::format("{}: more than {} tach edges; cut the recording off before {:.3f} s",
                                       file.string(), most_tach_edges, to_seconds(all[most_tach_edges])));
  });
  result.edges = std::move(all);
  return result;
}

}  // namespace tachproof
