#include "bench/commands/terminal.h"

#include <poll.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cstdlib>

#include <fmt/format.h>

#include "bench/record/text.h"

namespace tachproof {

bool is_terminal(std::FILE* stream) { return isatty(fileno(stream)) == 1; }

bool wants_colour(std::FILE* stream) {
  const char* const no_colour = std::getenv("NO_COLOR");
  return is_terminal(stream) && (no_colour == nullptr || *no_colour == '\0');
}

int columns_of(std::FILE* stream) {
  winsize size = {};
  if (!is_terminal(stream) || ioctl(fileno(stream), TIOCGWINSZ, &size) != 0 || size.ws_col == 0) return 80;
  return size.ws_col;
}

std::string shown_window(const Gauge& gauge, Channels lit) {
  std::string names;
  for (const Window& window : gauge.windows) {
    const bool may_be = (lit & window.cue.steady) == window.cue.steady &&
                        (lit & ~(window.cue.steady | window.cue.blinking)) == 0;
    if (may_be) names += (names.empty() ? "" : " or ") + window.name;
  }
  return names.empty() ? gauge.describe(lit) : names;
}

ProgressLine::ProgressLine(const Gauge& gauge, Nanos duration, std::string label)
    : gauge_(gauge), duration_(duration), label_(std::move(label)), wanted_(is_terminal(stderr)) {}

ProgressLine::~ProgressLine() { clear(); }

void ProgressLine::show(const RunProgress& progress, const std::string& more) {
  if (!wanted_) return;
  std::string line = fmt::format("{}{:.1f} s", printable(label_), to_seconds(progress.at));
  if (duration_ > 0) line += fmt::format(" of {:.1f} s", to_seconds(duration_));
  if (!more.empty()) line += "  " + printable(more);
  line += fmt::format("  {:.0f} rpm  {}", progress.rpm, shown_window(gauge_, progress.lit));
  line.resize(std::min(line.size(), static_cast<std::size_t>(columns_of(stderr) - 1)));
  fmt::print(stderr, "\r\033[K{}", line);
  shown_ = true;
}

void ProgressLine::clear() {
  if (shown_) std::fputs("\r\033[K", stderr);
  shown_ = false;
}

std::optional<std::string> ask_at_terminal(const std::string& question) {
  if (!is_terminal(stdin) || !is_terminal(stderr)) return std::nullopt;
  fmt::print(stderr, "{}", printable(question));
  std::array<char, 4096> typed{};
  if (std::fgets(typed.data(), static_cast<int>(typed.size()), stdin) == nullptr) return std::nullopt;
  const std::string line = typed.data();
  const std::size_t from = line.find_first_not_of(" \t\r\n");
  if (from == std::string::npos) return "";
  return line.substr(from, line.find_last_not_of(" \t\r\n") + 1 - from);
}

std::optional<Reply> TerminalQuestions::operator()(const Ask& ask, Nanos patience) {
  if (!is_terminal(stdin) || !is_terminal(stderr)) return Reply{};
  if (put_ != &ask) fmt::print(stderr, "\r\033[K{} ", printable(ask.question));
  put_ = &ask;
  pollfd typed{STDIN_FILENO, POLLIN, 0};
  // Interrupted: whoever asks again looks why.
  if (poll(&typed, 1, static_cast<int>(patience / ns_per_ms)) <= 0) return std::nullopt;
  // A terminal hands over one whole line; none at the end of input.
  std::array<char, 4096> line{};
  const ssize_t n = ::read(STDIN_FILENO, line.data(), line.size());
  if (n < 0) return std::nullopt;
  put_ = nullptr;
  if (n == 0) return Reply{};
  return Reply{std::string(line.data(), static_cast<std::size_t>(n))};
}

}  // namespace tachproof
