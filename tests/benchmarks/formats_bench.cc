// How fast recordings are read and written, beside what the machine can do at
// best: memcpy for reading, write() of ready bytes for writing.
#include <benchmark/benchmark.h>
#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cstring>
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "bench/formats/recording.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

constexpr std::uint32_t edges = 6'000'000;
constexpr int csv_rows = 2'000'000;
const std::vector<std::string> channels = {"tach", "left", "mid", "right", "top"};

fs::path in_scratch(const char* name) { return fs::temp_directory_path() / name; }

struct Change {
  Nanos at = 0;
  std::uint32_t channel = 0;
  bool high = false;
};

// A tach of some 400 Hz, 1 us apart from even, and a lamp change now and then.
std::vector<Change> capture_changes() {
  std::vector<Change> all;
  Nanos at = 0;
  for (std::uint32_t i = 0; i < edges; ++i) {
    at += (1250 + static_cast<Nanos>(std::uint64_t{i} * 7919 % 17)) * ns_per_us;
    all.push_back({at, 0, i % 2 == 0});
    if (i % 1000 == 0) all.push_back({at, 1 + i / 1000 % 4, i / 4000 % 2 == 0});
  }
  return all;
}

void write_changes(const fs::path& file, const std::vector<Change>& changes) {
  VcdWriter writer(file, channels);
  for (const Change& change : changes) writer.change(change.at, change.channel, change.high);
  writer.close(changes.back().at);
}

const fs::path& vcd_file() {
  static const fs::path file = [] {
    const fs::path f = in_scratch("tachproof_bench.vcd");
    write_changes(f, capture_changes());
    return f;
  }();
  return file;
}

// Sampled at 20 kHz: most rows repeat the last one's levels.
const fs::path& csv_file() {
  static const fs::path file = [] {
    const fs::path f = in_scratch("tachproof_bench.csv");
    std::ofstream out(f);
    out << "Time [s],tach,left,mid,right,top\n";
    for (int i = 0; i < csv_rows; ++i) {
      out << fmt::format("{}.{:06},{},{},{},0,0\n", i / 20000, i % 20000 * 50, i / 25 % 2, i / 9000 % 2,
                         i / 70000 % 2);
    }
    return f;
  }();
  return file;
}

std::string bytes_of(const fs::path& file) {
  std::string all(fs::file_size(file), '\0');
  std::ifstream(file).read(all.data(), static_cast<std::streamsize>(all.size()));
  return all;
}

void read_all(const fs::path& file) {
  const auto reader = open_recording(file, channels);
  std::vector<ChannelChange> block(4096);
  std::size_t changes = 0;
  while (const std::size_t n = reader->next(block)) changes += n;
  benchmark::DoNotOptimize(changes);
}

void MemcpyOfTheSameBytes(benchmark::State& state) {
  const std::string from = bytes_of(vcd_file());
  std::string to(from.size(), '\0');
  for (auto _ : state) {
    std::memcpy(to.data(), from.data(), from.size());
    benchmark::ClobberMemory();
  }
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(from.size()));
}
BENCHMARK(MemcpyOfTheSameBytes)->Unit(benchmark::kMillisecond);

void ReadVcd(benchmark::State& state) {
  vcd_file();
  for (auto _ : state) read_all(vcd_file());
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(fs::file_size(vcd_file())));
}
BENCHMARK(ReadVcd)->Unit(benchmark::kMillisecond);

void ReadCsv(benchmark::State& state) {
  csv_file();
  for (auto _ : state) read_all(csv_file());
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(fs::file_size(csv_file())));
  state.counters["ns_per_row"] = benchmark::Counter(
      csv_rows * 1e-9, benchmark::Counter::kIsIterationInvariantRate | benchmark::Counter::kInvert);
}
BENCHMARK(ReadCsv)->Unit(benchmark::kMillisecond);

void WriteReadyBytes(benchmark::State& state) {
  const std::string bytes = bytes_of(vcd_file());
  const fs::path file = in_scratch("tachproof_bench_out.vcd");
  for (auto _ : state) {
    const int fd = ::open(file.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
    constexpr std::size_t block = std::size_t{256} << 10;
    for (std::size_t at = 0; at < bytes.size(); at += block) {
      if (::write(fd, bytes.data() + at, std::min(block, bytes.size() - at)) < 0)
        state.SkipWithError("write failed");
    }
    ::close(fd);
  }
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(bytes.size()));
}
BENCHMARK(WriteReadyBytes)->Unit(benchmark::kMillisecond);

// The changes are ready, as the bytes are above.
void WriteVcd(benchmark::State& state) {
  const fs::path file = in_scratch("tachproof_bench_out.vcd");
  const std::vector<Change> changes = capture_changes();
  for (auto _ : state) write_changes(file, changes);
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(fs::file_size(file)));
}
BENCHMARK(WriteVcd)->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace tachproof
