#include "tests/bench/simulated_generator.h"

#include <arpa/inet.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <poll.h>
#include <pty.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

#include <fmt/format.h>

#include <array>
#include <sstream>
#include <stdexcept>

namespace tachproof::test {
namespace {

constexpr int poll_ms = 5;

bool readable(int fd) {
  pollfd wait{fd, POLLIN, 0};
  return poll(&wait, 1, poll_ms) > 0;
}

}  // namespace

SimulatedGenerator::SimulatedGenerator(std::shared_ptr<CommandClock> clock, const GeneratorNature& nature,
                                       Door door)
    : clock_(std::move(clock)), nature_(nature) {
  if (door == Door::terminal) {
    std::array<char, 64> name{};
    if (openpty(&terminal_, &slave_, name.data(), nullptr, nullptr) != 0) throw std::runtime_error("openpty");
    termios raw{};
    tcgetattr(slave_, &raw);
    cfmakeraw(&raw);
    tcsetattr(slave_, TCSANOW, &raw);
    address_ = name.data();
  } else {
    listener_ = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
    sockaddr_in at{};
    at.sin_family = AF_INET;
    at.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
    socklen_t size = sizeof at;
    if (bind(listener_, reinterpret_cast<sockaddr*>(&at), size) != 0 || listen(listener_, 4) != 0)
      throw std::runtime_error("listening on the loopback");
    getsockname(listener_, reinterpret_cast<sockaddr*>(&at), &size);
    address_ = fmt::format("127.0.0.1:{}", ntohs(at.sin_port));
  }
  thread_ = std::thread([this] { serve(); });
}

SimulatedGenerator::~SimulatedGenerator() {
  over_ = true;
  thread_.join();
  for (const int fd : {listener_, terminal_, slave_})
    if (fd >= 0) close(fd);
}

bool SimulatedGenerator::output_on() const {
  const std::lock_guard lock(mutex_);
  return on_;
}
bool SimulatedGenerator::keys_locked() const {
  const std::lock_guard lock(mutex_);
  return locked_;
}
void SimulatedGenerator::trip() {
  const std::lock_guard lock(mutex_);
  switch_off();
}
void SimulatedGenerator::fall_mute(bool obeys) {
  const std::lock_guard lock(mutex_);
  mute_ = true;
  mute_obeys_ = obeys;
}
std::vector<OutputState> SimulatedGenerator::output() const {
  const std::lock_guard lock(mutex_);
  return output_;
}
std::vector<std::string> SimulatedGenerator::messages() const {
  const std::lock_guard lock(mutex_);
  return messages_;
}

void SimulatedGenerator::serve() {
  if (terminal_ >= 0) return converse(terminal_);
  while (!over_) {
    if (!readable(listener_)) continue;
    const int fd = accept(listener_, nullptr, nullptr);
    if (!(lost_ && nature_.deaf_when_lost)) converse(fd);
    close(fd);
  }
}

void SimulatedGenerator::converse(int fd) {
  std::string received;
  while (!over_) {
    if (!readable(fd)) continue;
    std::array<char, 512> some{};
    const ssize_t n = read(fd, some.data(), some.size());
    if (n <= 0) return;
    received.append(some.data(), static_cast<std::size_t>(n));
    for (std::size_t end; (end = received.find('\n')) != std::string::npos;) {
      const std::string message = received.substr(0, end);
      received.erase(0, end + 1);
      if (take(message, fd)) return;
    }
  }
}

bool SimulatedGenerator::take(const std::string& message, int fd) {
  const std::lock_guard lock(mutex_);
  messages_.push_back(message);
  live();
  if (mute_ && !mute_obeys_) return false;
  const auto number = static_cast<int>(messages_.size());
  if (number == nature_.hangs_up_at) {
    lost_ = true;
    return true;
  }
  if (number == nature_.silent_at) {
    lost_ = true;
    return false;
  }
  if (nature_.loses_within > 0 && clock_->now() < answered_ + nature_.loses_within) return false;

  std::string answer;
  std::istringstream units(message);
  bool first = true, understood = true;
  for (std::string unit; understood && std::getline(units, unit, ';'); first = false) {
    // A header with a colon begins at the root; only the first needs none.
    if (unit.starts_with(':'))
      unit.erase(0, 1);
    else if (!first && !unit.starts_with('*'))
      unit = "?" + unit;
    std::string part;
    understood = obey(unit, part);
    if (!part.empty()) answer += (answer.empty() ? "" : ";") + part;
  }
  if (answer.empty()) return false;
  Nanos takes = nature_.answers_in;
  if (number == nature_.late_at) takes += nature_.late_by;
  clock_->wait_until(clock_->now() + takes);
  answered_ = clock_->now();
  if (mute_) return false;
  if (number == nature_.garbage_at) answer = "\x01\xff\x7f#";
  if (number == nature_.wrong_at) answer = "12.5";
  if (nature_.bare_newline_first && message == "*IDN?") answer = "\n" + answer;
  answer += "\n";
  return write(fd, answer.data(), answer.size()) < 0;
}

void SimulatedGenerator::put_out() {
  output_.push_back({clock_->now() + nature_.changes_in, on_ ? hz_ : 0, on_ ? volts_ : 0});
}

void SimulatedGenerator::switch_off() {
  if (!on_) return;
  on_ = false;
  errors_.emplace_back("+501,\"Output overload\"");
  put_out();
}

void SimulatedGenerator::live() {
  if (!on_since_) return;
  const Nanos on = clock_->now() - *on_since_;
  if (nature_.trips_after > 0 && on >= nature_.trips_after) {
    on_since_.reset();
    switch_off();
  } else if (nature_.hand_after > 0 && on >= nature_.hand_after) {
    on_since_.reset();
    hz_ = nature_.hand_hz.value_or(hz_);
    volts_ = nature_.hand_volts.value_or(volts_);
    offset_ = nature_.hand_offset.value_or(offset_);
    load_ = nature_.hand_load.value_or(load_);
    square_ = !nature_.hand_sine;
    put_out();
  }
}

// What a power supply knows beside; nothing: it is none of that.
std::optional<bool> SimulatedGenerator::feed(const std::string& header, const std::string& word,
                                             std::string& answer) {
  if (header == "VOLT" || header == "CURR") {
    const double value = std::stod(word);
    if (value < 0 || value > (header == "VOLT" ? nature_.most_v : 10)) {
      errors_.emplace_back("-222,\"Data out of range\"");
      return false;
    }
    (header == "VOLT" ? volts_ : limit_) = value;
    if (header == "VOLT") put_out();
    return true;
  }
  if (header == "CURR?") return answer = fmt::format("{:+.6E}", limit_), true;
  if (header == "MEAS:VOLT?")
    return answer = fmt::format("{:+.6E}", on_ ? nature_.sags_to.value_or(volts_) : 0), true;
  if (header.starts_with("FREQ") || header.starts_with("FUNC") || header.starts_with("VOLT:")) {
    errors_.emplace_back("-113,\"Undefined header\"");
    return false;
  }
  return std::nullopt;
}

// False: an error, which ends the message.
bool SimulatedGenerator::obey(std::string unit, std::string& answer) {
  const auto fail = [&](const char* error) {
    errors_.emplace_back(error);
    return false;
  };
  const std::size_t blank = unit.find(' ');
  const std::string header = unit.substr(0, blank);
  const std::string word = blank == std::string::npos ? "" : unit.substr(blank + 1);
  const auto number = [&](double& into, double lowest, double highest) {
    const double value = std::stod(word);
    if (value < lowest || value > highest) return fail("-222,\"Data out of range\"");
    into = value;
    return true;
  };
  const auto say = [&](std::string text) {
    answer = std::move(text);
    return true;
  };
  if (nature_.feeds)
    if (const std::optional<bool> fed = feed(header, word, answer)) return *fed;
  if (header == "*IDN?") return say(nature_.name);
  if (header == "*CLS") return errors_.clear(), true;
  if (header == "*RST") {
    hz_ = 1000, volts_ = 0.1, offset_ = 0;
    on_ = square_ = false;
    put_out();
    return true;
  }
  if (header == "SYST:ERR?") {
    if (!nature_.complains.empty()) return say(nature_.complains);
    if (errors_.empty()) return say("+0,\"No error\"");
    const std::string error = errors_.front();
    errors_.erase(errors_.begin());
    return say(error);
  }
  if (header == "FUNC") return square_ = word == "SQU", true;
  if (header == "FUNC?") return say(square_ ? "SQU" : "SIN");
  if (header == "FREQ") return number(hz_, 1e-6, nature_.most_hz) && (put_out(), true);
  if (header == "FREQ?") return say(fmt::format("{:+.12E}", hz_));
  if (header == "VOLT") return number(volts_, 0.01, nature_.most_v);
  if (header == "VOLT?") return say(fmt::format("{:+.6E}", volts_));
  if (header == "VOLT:OFFS") return number(offset_, -5, 5);
  if (header == "VOLT:OFFS?") return say(fmt::format("{:+.6E}", offset_));
  if (header == "OUTP") {
    const bool was_on = on_;
    on_ = word == "ON" || word == "1";
    if (on_ && !was_on) on_since_ = clock_->now();
    put_out();
    return true;
  }
  if (header == "OUTP?") return say(on_ ? "1" : "0");
  if (nature_.knows_load && header == "OUTP:LOAD")
    return load_ = word == "INF" ? 9.9e37 : std::stod(word), true;
  if (nature_.knows_load && header == "OUTP:LOAD?") return say(fmt::format("{:.3E}", load_));
  if (nature_.locks_keys && header == "SYST:RWL") return locked_ = true;
  if (nature_.locks_keys && header == "SYST:LOC") return locked_ = false, true;
  return fail("-113,\"Undefined header\"");
}

}  // namespace tachproof::test
