// Whole lines of a file, a buffer at a time, in constant memory.
#pragma once

#include <cstddef>
#include <filesystem>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

namespace tachproof {

class ByteSource {
 public:
  virtual ~ByteSource() = default;
  // Up to `size` bytes (size > 0), at least one; 0 at the end.
  virtual std::size_t read(char* to, std::size_t size) = 0;
};

// Of a regular file. Throws RecordingError: "capture.vcd: No such file or directory".
std::unique_ptr<ByteSource> open_bytes(const std::filesystem::path& file);

inline constexpr std::size_t default_read_buffer = std::size_t{256} << 10;
inline constexpr std::size_t longest_line = std::size_t{1} << 20;

constexpr bool is_blank(char c) { return c == ' ' || (c >= '\t' && c <= '\r'); }

// Before the header of anything, sigrok-cli 0.7 may put "META samplerate: 20000".
inline constexpr std::string_view sigrok_meta = "META ";

std::string_view trimmed(std::string_view text);  // without blanks at either end

// A parser walks `next` up to `limit`; in between lie whole lines only, the
// last byte being a newline. `line` is the number of the line that `next` is
// in, from 1; whoever moves `next` counts. 16 bytes on either side of the
// lines may be read, so that digits can be fetched a word at a time.
class LineBuffer {
 public:
  LineBuffer(std::unique_ptr<ByteSource> source, std::string file, std::size_t size = default_read_buffer);

  const char* next = nullptr;
  const char* limit = nullptr;
  std::size_t line = 1;

  // When all lines are used: reads on. False at the end of the file. Throws
  // RecordingError for a line longer than `longest_line`.
  bool more();
  // At the end of the file: what follows the last newline.
  std::string_view rest() const { return {limit, static_cast<std::size_t>(end_ - limit)}; }

  // The next word within the lines at hand; empty when they are used up.
  std::string_view word();

  const std::string& file() const { return file_; }
  [[noreturn]] void fail(const std::string& message) const;  // "file:line: message"

 private:
  static constexpr std::size_t margin = 16;
  std::unique_ptr<ByteSource> source_;
  std::string file_;
  std::vector<char> bytes_;
  const char* end_ = nullptr;  // of the bytes read, at or after `limit`
  bool at_end_ = false;
};

// 'text' for a message: shortened, and with bytes that do not print as \x07.
std::string as_shown(std::string_view text);

}  // namespace tachproof
