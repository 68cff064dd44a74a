// Recordings from memory, for the tests of the readers.
#pragma once

#include <algorithm>
#include <cstring>
#include <memory>
#include <ostream>
#include <string>
#include <utility>
#include <vector>

#include "bench/formats/readers.h"

namespace tachproof {

inline bool operator==(const ChannelChange& a, const ChannelChange& b) {
  return a.at == b.at && a.channel == b.channel && a.level == b.level;
}

inline std::ostream& operator<<(std::ostream& out, const ChannelChange& c) {
  return out << "{" << c.at << " ns, " << c.channel << ", "
             << "01x"[static_cast<int>(c.level)] << "}";
}

// Gives at most `piece` bytes at a time.
class MemoryBytes : public ByteSource {
 public:
  explicit MemoryBytes(std::string bytes, std::size_t piece = std::string::npos)
      : bytes_(std::move(bytes)), piece_(piece) {}
  std::size_t read(char* to, std::size_t size) override {
    const std::size_t n = std::min({size, piece_, bytes_.size() - given_});
    std::memcpy(to, bytes_.data() + given_, n);
    given_ += n;
    return n;
  }

 private:
  std::string bytes_;
  std::size_t piece_;
  std::size_t given_ = 0;
};

inline std::unique_ptr<RecordingReader> open_text(const std::string& text,
                                                  const std::vector<std::string>& wanted,
                                                  std::size_t buffer = default_read_buffer) {
  return open_recording(std::make_unique<MemoryBytes>(text), "capture", wanted, buffer);
}

struct Recorded {
  std::vector<ChannelChange> changes;
  bool truncated = false;
  std::string trouble;
  Nanos end = 0;
  std::string error;  // of the RecordingError that ended it
};

inline Recorded read_all(RecordingReader& reader, std::size_t block_size = 64) {
  Recorded all;
  std::vector<ChannelChange> block(block_size);
  while (const std::size_t n = reader.next(block)) {
    all.changes.insert(all.changes.end(), block.begin(), block.begin() + static_cast<std::ptrdiff_t>(n));
  }
  all.truncated = reader.truncated();
  all.trouble = reader.trouble();
  all.end = reader.end();
  return all;
}

inline Recorded read_text(const std::string& text, const std::vector<std::string>& wanted,
                          std::size_t buffer = default_read_buffer, std::size_t block_size = 64) {
  try {
    const auto reader = open_text(text, wanted, buffer);
    return read_all(*reader, block_size);
  } catch (const RecordingError& e) {
    Recorded none;
    none.error = e.what();
    return none;
  }
}

inline std::string error_of(const std::string& text, const std::vector<std::string>& wanted = {}) {
  return read_text(text, wanted).error;
}

inline constexpr Level low = Level::low;
inline constexpr Level high = Level::high;
inline constexpr Level unknown = Level::unknown;

using Changes = std::vector<ChannelChange>;

}  // namespace tachproof
