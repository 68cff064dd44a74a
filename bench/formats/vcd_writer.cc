#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <charconv>
#include <set>
#include <stdexcept>
#include <system_error>
#include <utility>

#include "bench/formats/recording.h"

namespace tachproof {
namespace {

constexpr std::size_t buffer_size = std::size_t{64} << 10;
constexpr std::size_t longest_time = 24;  // "#", 20 digits, newline

// Identifier codes: '!', '"', ... '~', then two characters, first fastest.
std::string code_of(std::size_t index) {
  constexpr std::size_t base = '~' - '!' + 1;
  std::string code;
  for (std::size_t rest = index + 1; rest > 0; rest = (rest - 1) / base) {
    code += static_cast<char>('!' + (rest - 1) % base);
  }
  return code;
}

// A name that other programs can read: printable ASCII without blanks, `$`
// (keywords) and `\` (escapes).
std::string plain_name(const std::string& name) {
  std::string plain;
  for (const char c : name) plain += c > ' ' && c <= '~' && c != '$' && c != '\\' ? c : '_';
  return plain.empty() ? "unnamed" : plain;
}

std::string timescale_text(Nanos timescale) {
  if (timescale > 0 && timescale <= 100 * ns_per_s) {
    Nanos number = timescale;
    for (const char* unit : {"ns", "us", "ms", "s"}) {
      if (number == 1 || number == 10 || number == 100) return fmt::format("{} {}", number, unit);
      if (number % 1000 != 0) break;
      number /= 1000;
    }
  }
  throw std::invalid_argument(
      fmt::format("a VCD timescale of {} ns; 1, 10 or 100 of ns, us, ms or s", timescale));
}

}  // namespace

class VcdWriter::Impl {
 public:
  Impl(const std::filesystem::path& file, const std::vector<std::string>& channels, Nanos timescale,
       const std::string& scope)
      : name_(file.string()), timescale_(timescale), levels_(channels.size(), 'x') {
    const std::string scale = timescale_text(timescale);
    fd_ = ::open(file.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
    if (fd_ < 0) fail("creating");
    buffer_.reserve(buffer_size + longest_time);
    try {
      write_header(channels, scale, scope);
    } catch (...) {
      ::close(fd_);
      throw;
    }
  }
  ~Impl() {
    if (fd_ >= 0) ::close(fd_);
  }
  Impl(const Impl&) = delete;
  Impl& operator=(const Impl&) = delete;

  void change(Nanos at, std::uint32_t channel, bool high) {
    const std::uint64_t ticks = to_ticks(at);
    if (ticks < last_) throw std::invalid_argument(fmt::format("a change at {} ns, before the last one", at));
    const char level = high ? '1' : '0';
    char& known = levels_.at(channel);
    if (known == level) return;
    if (ticks != last_) {
      if (!begun_) begin();
      write_time(ticks);
    }
    known = level;
    if (!begun_) return;  // part of the first time's levels
    char text[longest_code + 2];
    char* p = text;
    *p++ = level;
    for (const char c : codes_[channel]) *p++ = c;
    *p++ = '\n';
    append(text, static_cast<std::size_t>(p - text));
  }

  void flush() {
    if (fd_ < 0) return;
    if (!begun_) begin();
    drain();
  }

  void close(Nanos end) {
    if (fd_ < 0) return;
    if (!begun_) begin();
    if (const std::uint64_t ticks = to_ticks(end); ticks > last_) write_time(ticks);
    drain();
    if (::close(std::exchange(fd_, -1)) != 0) fail("closing");
  }

 private:
  static constexpr std::size_t longest_code = 8;

  void write_header(const std::vector<std::string>& channels, const std::string& scale,
                    const std::string& scope) {
    std::string text = fmt::format("$version tachproof $end\n$timescale {} $end\n$scope module {} $end\n",
                                   scale, plain_name(scope));
    std::set<std::string> used;
    for (std::size_t i = 0; i < channels.size(); ++i) {
      const std::string plain = plain_name(channels[i]);
      std::string name = plain;
      for (int n = 2; !used.insert(name).second; ++n) name = fmt::format("{}_{}", plain, n);
      codes_.push_back(code_of(i));
      text += fmt::format("$var wire 1 {} {} $end\n", codes_.back(), name);
    }
    text += "$upscope $end\n$enddefinitions $end\n";
    append(text.data(), text.size());
  }

  // The levels at time 0; a channel that nobody has told of is x.
  void begin() {
    begun_ = true;
    std::string text = "#0\n$dumpvars\n";
    for (std::size_t i = 0; i < levels_.size(); ++i) text += levels_[i] + codes_[i] + "\n";
    text += "$end\n";
    append(text.data(), text.size());
  }

  std::uint64_t to_ticks(Nanos at) const {
    if (at < 0) throw std::invalid_argument(fmt::format("a change at {} ns, before the beginning", at));
    const auto t = static_cast<std::uint64_t>(at);
    const auto scale = static_cast<std::uint64_t>(timescale_);
    return (t + scale / 2) / scale;
  }

  void write_time(std::uint64_t ticks) {
    last_ = ticks;
    char text[longest_time];
    text[0] = '#';
    char* end = std::to_chars(text + 1, text + sizeof text - 1, ticks).ptr;
    *end++ = '\n';
    append(text, static_cast<std::size_t>(end - text));
  }

  void append(const char* text, std::size_t size) {
    if (buffer_.size() + size > buffer_size) drain();
    buffer_.append(text, size);
  }

  void drain() {
    const char* p = buffer_.data();
    const char* const end = p + buffer_.size();
    while (p < end) {
      const ssize_t n = ::write(fd_, p, static_cast<std::size_t>(end - p));
      if (n >= 0) {
        p += n;
      } else if (errno != EINTR) {
        const int error = errno;
        buffer_.erase(0, static_cast<std::size_t>(p - buffer_.data()));
        errno = error;
        fail("writing");
      }
    }
    buffer_.clear();
  }

  [[noreturn]] void fail(const char* doing) const {
    throw std::system_error(errno, std::generic_category(), fmt::format("{} {}", doing, name_));
  }

  std::string name_;
  int fd_ = -1;
  Nanos timescale_;
  std::vector<std::string> codes_;
  std::vector<char> levels_;
  std::string buffer_;
  bool begun_ = false;  // the first time's levels are written
  std::uint64_t last_ = 0;
};

VcdWriter::VcdWriter(const std::filesystem::path& file, const std::vector<std::string>& channels,
                     Nanos timescale, const std::string& scope)
    : impl_(std::make_unique<Impl>(file, channels, timescale, scope)) {}

// A writer that was not closed leaves what it has, without a closing time.
VcdWriter::~VcdWriter() {
  try {
    flush();
  } catch (const std::exception&) {  // nobody is left to tell; close() would have
  }
}

void VcdWriter::change(Nanos at, std::uint32_t channel, bool high) { impl_->change(at, channel, high); }
void VcdWriter::flush() { impl_->flush(); }
void VcdWriter::close(Nanos end) { impl_->close(end); }

}  // namespace tachproof
