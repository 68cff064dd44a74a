#include <fmt/format.h>

#include <algorithm>
#include <cstring>
#include <utility>

#include "bench/formats/readers.h"

namespace tachproof {
namespace {

constexpr std::size_t head_size = std::size_t{64} << 10;

// Bytes that were read already, then the rest.
class Replayed : public ByteSource {
 public:
  Replayed(std::string head, std::unique_ptr<ByteSource> rest)
      : head_(std::move(head)), rest_(std::move(rest)) {}

  std::size_t read(char* to, std::size_t size) override {
    if (given_ == head_.size()) return rest_->read(to, size);
    const std::size_t n = std::min(size, head_.size() - given_);
    std::memcpy(to, head_.data() + given_, n);
    given_ += n;
    return n;
  }

 private:
  std::string head_;
  std::size_t given_ = 0;
  std::unique_ptr<ByteSource> rest_;
};

std::string read_head(ByteSource& bytes) {
  std::string head(head_size, '\0');
  std::size_t size = 0;
  while (size < head.size()) {
    const std::size_t got = bytes.read(head.data() + size, head.size() - size);
    if (got == 0) break;
    size += got;
  }
  head.resize(size);
  return head;
}

bool is_binary(char c) {
  const auto byte = static_cast<unsigned char>(c);
  return (byte < 0x20 && !is_blank(c)) || byte == 0x7f;
}

// From the first word on that is none of a meta line's.
std::string_view without_meta(std::string_view text) {
  for (;;) {
    text = trimmed(text);
    if (!text.starts_with(sigrok_meta)) return text;
    text.remove_prefix(std::min(text.find('\n'), text.size()));
  }
}

}  // namespace

std::unique_ptr<RecordingReader> open_recording(std::unique_ptr<ByteSource> bytes, const std::string& file,
                                                const std::vector<std::string>& wanted, std::size_t buffer) {
  std::string head = read_head(*bytes);
  if (std::string_view(head).starts_with("\xEF\xBB\xBF")) head.erase(0, 3);  // UTF-8's mark
  const std::string_view text = without_meta(head);
  if (text.empty()) throw RecordingError(file + ": nothing in it; a VCD or CSV recording is needed");
  if (const auto bad = std::find_if(head.begin(), head.end(), is_binary); bad != head.end()) {
    throw RecordingError(
        fmt::format("{}: byte 0x{:02x} at {}: a binary file; a VCD or CSV recording is needed", file,
                    static_cast<unsigned char>(*bad), bad - head.begin()));
  }
  LineBuffer lines(std::make_unique<Replayed>(head, std::move(bytes)), file, buffer);
  if (text[0] == '$') return open_vcd(std::move(lines), wanted);
  return open_csv(std::move(lines), wanted, head);
}

std::unique_ptr<RecordingReader> open_recording(const std::filesystem::path& file,
                                                const std::vector<std::string>& wanted) {
  return open_recording(open_bytes(file), file.string(), wanted);
}

}  // namespace tachproof
