#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <cstring>
#include <iterator>
#include <set>
#include <stdexcept>
#include <string_view>
#include <system_error>
#include <utility>

#include "bench/formats/digits.h"
#include "bench/formats/recording.h"

namespace tachproof {
namespace {

constexpr std::size_t buffer_size = std::size_t{256} << 10;
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
      : name_(file.string()), timescale_(timescale) {
    const std::string scale = timescale_text(timescale);
    fd_ = ::open(file.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOFOLLOW, 0666);
    if (fd_ < 0) fail("creating");
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
    ChangeLine& line = lines_.at(channel);
    if (line.text[0] == level) return;
    if (ticks != last_ && !begun_) begin();
    if (!begun_) {  // part of the first time's levels
      line.text[0] = level;
      return;
    }
    char* p = room(longest_time + sizeof line.text);
    if (ticks != last_) p = put_time(ticks, p);
    std::memcpy(p, line.text, sizeof line.text);
    *p = line.text[0] = level;
    used_ = static_cast<std::size_t>(p - buffer_.data()) + line.size;
  }

  void flush() {
    if (fd_ < 0) return;
    if (!begun_) begin();
    drain();
  }

  void close(Nanos end) {
    if (fd_ < 0) return;
    if (!begun_) begin();
    if (const std::uint64_t ticks = to_ticks(end); ticks > last_)
      used_ = static_cast<std::size_t>(put_time(ticks, room(longest_time)) - buffer_.data());
    drain();
    if (::close(std::exchange(fd_, -1)) != 0) fail("closing");
  }

 private:
  void write_header(const std::vector<std::string>& channels, const std::string& scale,
                    const std::string& scope) {
    std::string text = fmt::format("$version tachproof $end\n$timescale {} $end\n$scope module {} $end\n",
                                   scale, plain_name(scope));
    std::set<std::string> used;
    for (std::size_t i = 0; i < channels.size(); ++i) {
      const std::string plain = plain_name(channels[i]);
      std::string name = plain;
      for (int n = 2; !used.insert(name).second; ++n) name = fmt::format("{}_{}", plain, n);
      const std::string code = code_of(i);
      text += fmt::format("$var wire 1 {} {} $end\n", code, name);
      lines_.emplace_back(code);
    }
    text += "$upscope $end\n$enddefinitions $end\n";
    append(text);
  }

  // The levels at time 0; a channel that nobody has told of is x.
  void begin() {
    begun_ = true;
    std::string text = "#0\n$dumpvars\n";
    for (const ChangeLine& line : lines_) text.append(line.text, line.size);
    text += "$end\n";
    append(text);
  }

  std::uint64_t to_ticks(Nanos at) const {
    if (at < 0) throw std::invalid_argument(fmt::format("a change at {} ns, before the beginning", at));
    const auto t = static_cast<std::uint64_t>(at);
    const auto scale = static_cast<std::uint64_t>(timescale_);
    // A divisor that the compiler knows takes a fifth of the time of one that it does not.
    return scale == ns_per_us ? (t + ns_per_us / 2) / ns_per_us : (t + scale / 2) / scale;
  }

  // Returns where its line ends.
  [[gnu::always_inline]] char* put_time(std::uint64_t ticks, char* p) {
    last_ = ticks;
    *p++ = '#';
    // The upper digits stay for many changes, so their text is kept.
    const std::uint64_t high = ticks / 10'000;
    const auto low = static_cast<std::uint32_t>(ticks % 10'000);
    if (high == 0 || high >= 100'000'000) {
      p = std::to_chars(p, p + longest_time - 2, ticks).ptr;
    } else {
      if (high != high_) {
        high_ = high;
        high_size_ = 8;
        for (std::uint64_t least = 10'000'000; high < least; least /= 10) --high_size_;
        high_text_ = eight_digits(static_cast<std::uint32_t>(high)) >> 8 * (8 - high_size_);
      }
      std::memcpy(p, &high_text_, sizeof high_text_);
      const std::uint32_t text = four_digits(low);
      std::memcpy(p + high_size_, &text, sizeof text);
      p += high_size_ + sizeof text;
    }
    *p++ = '\n';
    return p;
  }

  void append(std::string_view text) {
    for (std::size_t given = 0; given < text.size();) {
      const std::size_t some = std::min(text.size() - given, buffer_size);
      std::memcpy(room(some), text.data() + given, some);
      used_ += some;
      given += some;
    }
  }

  // Where `size` bytes (at most buffer_size) can be put; the caller moves used_.
  char* room(std::size_t size) {
    if (used_ + size > buffer_size) drain();
    return buffer_.data() + used_;
  }

  void drain() {
    std::size_t given = 0;
    while (given < used_) {
      const ssize_t n = ::write(fd_, buffer_.data() + given, used_ - given);
      if (n >= 0) {
        given += static_cast<std::size_t>(n);
      } else if (errno != EINTR) {
        const int error = errno;
        std::memmove(buffer_.data(), buffer_.data() + given, used_ - given);
        used_ -= given;
        errno = error;
        fail("writing");
      }
    }
    used_ = 0;
  }

  [[noreturn]] void fail(const char* doing) const {
    throw std::system_error(errno, std::generic_category(), fmt::format("{} {}", doing, name_));
  }

  std::string name_;
  int fd_ = -1;
  Nanos timescale_;
  // "1!\n", as the channel is; copied whole whatever its length. x: nobody has told of it.
  struct ChangeLine {
    explicit ChangeLine(const std::string& code) : size(code.size() + 2) {
      ("x" + code + "\n").copy(text, sizeof text);
    }
    char text[8] = {};
    std::size_t size;
  };
  std::vector<ChangeLine> lines_;
  std::vector<char> buffer_ = std::vector<char>(buffer_size);
  std::size_t used_ = 0;
  bool begun_ = false;  // the first time's levels are written
  std::uint64_t last_ = 0;
  std::uint64_t high_ = 0;  // ten thousands of the last time, and their digits
  std::uint64_t high_text_ = 0;
  std::size_t high_size_ = 0;
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
