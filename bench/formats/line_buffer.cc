#include "bench/formats/line_buffer.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstring>
#include <utility>

#include "bench/files/regular_file.h"
#include "bench/formats/recording.h"

namespace tachproof {
namespace {

class FileBytes : public ByteSource {
 public:
  FileBytes(const std::filesystem::path& file, RegularFile opened)
      : name_(file.string()), file_(std::move(opened)) {
    file_.read_in_order();
  }
  std::size_t read(char* to, std::size_t size) override {
    try {
      return file_.read(to, size);
    } catch (const NotReadable& e) {
      throw RecordingError(name_ + ": " + e.why);
    }
  }

 private:
  std::string name_;
  RegularFile file_;
};

}  // namespace

std::unique_ptr<ByteSource> open_bytes(const std::filesystem::path& file) {
  try {
    return std::make_unique<FileBytes>(file, RegularFile(file));
  } catch (const NotReadable& e) {
    throw RecordingError(file.string() + ": " + e.why);
  }
}

LineBuffer::LineBuffer(std::unique_ptr<ByteSource> source, std::string file, std::size_t size)
    : source_(std::move(source)),
      file_(std::move(file)),
      bytes_(std::max<std::size_t>(size, 1) + 2 * margin) {
  next = limit = end_ = bytes_.data() + margin;
}

bool LineBuffer::more() {
  if (at_end_) return false;
  char* const front = bytes_.data() + margin;
  std::size_t kept = rest().size();
  std::memmove(front, limit, kept);
  next = limit = front;
  for (;;) {
    std::size_t room = bytes_.size() - 2 * margin - kept;
    if (room == 0) {
      if (kept >= longest_line) {
        fail(fmt::format("a line of more than {} bytes; no record is that long", longest_line));
      }
      bytes_.resize(2 * margin + std::min(2 * kept, longest_line));
      next = limit = bytes_.data() + margin;
      room = bytes_.size() - 2 * margin - kept;
    }
    char* const at = bytes_.data() + margin + kept;
    const std::size_t got = source_->read(at, room);
    kept += got;
    end_ = at + got;
    if (got == 0) {
      at_end_ = true;
      return false;
    }
    if (const void* newline = ::memrchr(at, '\n', got)) {
      limit = static_cast<const char*>(newline) + 1;
      return true;
    }
  }
}

std::string_view LineBuffer::word() {
  while (next < limit && is_blank(*next)) line += *next++ == '\n';
  const char* const begin = next;
  while (next < limit && !is_blank(*next)) ++next;
  return {begin, static_cast<std::size_t>(next - begin)};
}

void LineBuffer::fail(const std::string& message) const {
  throw RecordingError(fmt::format("{}:{}: {}", file_, line, message));
}

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && is_blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && is_blank(text.back())) text.remove_suffix(1);
  return text;
}

std::string as_shown(std::string_view text) {
  constexpr std::size_t longest = 40;
  std::string out = "'";
  for (const char c : text.substr(0, longest)) {
    const auto byte = static_cast<unsigned char>(c);
    if (byte < 0x20 || byte >= 0x7f) {
      out += fmt::format("\\x{:02x}", byte);
    } else {
      out += c;
    }
  }
  if (text.size() > longest) out += "...";
  return out + "'";
}

}  // namespace tachproof
