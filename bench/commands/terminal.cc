#include "bench/commands/terminal.h"

#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <iostream>

#include <fmt/format.h>

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

ProgressLine::ProgressLine(const Gauge& gauge, Nanos duration)
    : gauge_(gauge), duration_(duration), wanted_(is_terminal(stderr)) {}

ProgressLine::~ProgressLine() { clear(); }

void ProgressLine::show(const RunProgress& progress) {
  if (!wanted_) return;
  std::string line = fmt::format("{:.1f} s of {:.1f} s  {:.0f} rpm  {}", to_seconds(progress.at),
                                 to_seconds(duration_), progress.rpm, shown_window(gauge_, progress.lit));
  line.resize(std::min(line.size(), static_cast<std::size_t>(columns_of(stderr) - 1)));
  fmt::print(stderr, "\r\033[K{}", line);
  shown_ = true;
}

void ProgressLine::clear() {
  if (shown_) std::fputs("\r\033[K", stderr);
  shown_ = false;
}

std::optional<std::string> ask_at_terminal(const Ask& ask) {
  if (!is_terminal(stdin) || !is_terminal(stderr)) return std::nullopt;
  fmt::print(stderr, "\r\033[K{} ", ask.question);
  std::string answer;
  if (std::getline(std::cin, answer)) return answer;
  std::cin.clear();  // interrupted, or Ctrl-D: the next question may be answered
  return std::nullopt;
}

}  // namespace tachproof
