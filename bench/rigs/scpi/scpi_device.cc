#include "bench/rigs/scpi/scpi_device.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "bench/rigs/rig.h"
#include "core/base/foreign_text.h"
#include "core/base/parse.h"

namespace tachproof {
namespace {

constexpr Nanos reset_patience = 5 * ns_per_s;
constexpr int most_errors = 20;
constexpr int answers_timed = 8;

}  // namespace

std::optional<double> scpi_number(std::string_view text) {
  while (text.starts_with(' ')) text.remove_prefix(1);
  if (text.starts_with('+')) text.remove_prefix(1);
  return parse_number<double>(text);
}

std::string scpi_quoted(const std::string& text) {
  return "'" + shown(text.substr(0, 60)) + (text.size() > 60 ? "...'" : "'");
}

bool scpi_says(const std::string& text, double wanted) { return scpi_number(text) == wanted; }

bool scpi_is_near(const std::string& text, double value) {
  const std::optional<double> said = scpi_number(text);
  return said && std::abs(*said - value) <= 0.01 * std::abs(value) + 1e-3;
}

std::string scpi_number_said(const std::string& text) {
  const std::optional<double> number = scpi_number(text);
  return number ? fmt::format("{:.6g}", *number) : scpi_quoted(text);
}

std::vector<std::string> scpi_fields(const std::string& text) {
  std::vector<std::string> out(1);
  for (const char c : text)
    if (c == ';')
      out.emplace_back();
    else
      out.back() += c;
  return out;
}

std::string scpi_joined(const std::vector<std::string>& all) {
  std::string text;
  for (const std::string& one : all) text += (text.empty() ? "" : ", ") + one;
  return text;
}

ScpiDevice::ScpiDevice(Kind kind, std::shared_ptr<CommandClock> clock, OpenLink open, Nanos patience)
    : kind_(std::move(kind)),
      source_(kind_.channel == 1 ? "" : fmt::format("SOUR{}:", kind_.channel)),
      output_(kind_.channel == 1 ? "OUTP" : fmt::format("OUTP{}", kind_.channel)),
      clock_(std::move(clock)),
      open_(std::move(open)),
      patience_(patience),
      name_(kind_.name),
      first_(output_ + " OFF\nSYST:LOC") {
  link_ = open_();
  first_.way(link_->descriptor());
  if (const std::string where = link_->leads_to(); !where.empty()) {
    claim_.emplace(where);
    if (!claim_->refused().empty()) throw RigError("opening " + name_ + ": " + claim_->refused());
  }
  greet();
}

ScpiDevice::~ScpiDevice() {
  unlock();
  first_.way(-1);
}

// Whatever an earlier user left in the line is gone when it gives its name.
void ScpiDevice::greet() {
  link_->write("*IDN?");
  const auto is_name = [](const std::string& text) { return std::count(text.begin(), text.end(), ',') == 3; };
  std::optional<std::string> answer = link_->read(patience_);
  for (int stale = 0; answer && !is_name(*answer) && stale < most_errors; ++stale)
    answer = link_->read(patience_);
  answered_ = clock_->now();
  if (!answer || !is_name(*answer))
    throw RigError(name_ + " does not answer *IDN? with a name: is it " + kind_.article +
                   ", and is this its SCPI port?");
  if (!identity_.empty() && *answer != identity_)
    throw RigError(name_ + " is not the same one as before: " + scpi_quoted(*answer));
  identity_ = *answer;
}

void ScpiDevice::rest() { clock_->wait_until(answered_ + kind_.settle); }

// Without an answer: it may be at it for as long as one would take.
void ScpiDevice::tell(const std::string& message) {
  rest();
  link_->write(message);
  answered_ = clock_->now() + kind_.answer;
}

ScpiDevice::Answer ScpiDevice::ask(const std::string& message, Nanos patience) {
  Answer answer;
  answer.sent = clock_->now();
  link_->write(message);
  std::optional<std::string> text = link_->read(patience);
  answer.came = answered_ = clock_->now();
  if (!text) no_answer(message, patience);
  answer.text = std::move(*text);
  return answer;
}

void ScpiDevice::no_answer(const std::string& message, Nanos patience) {
  // It may have lost the question only.
  try {
    tell(output_ + " OFF");
  } catch (const RigError&) {
    // By the next link, then.
  }
  first_.way(-1);
  link_.reset();  // its answer may still come, and would be taken for the next one's
  const std::string why = make_silent() ? errors_as_text() : "; it cannot be reached again";
  throw RigError(fmt::format("{} did not answer `{}` within {} ms{}", name_, message, to_ms(patience), why));
}

void ScpiDevice::reach_again() {
  first_.way(-1);
  link_.reset();
  link_ = open_();
  first_.way(link_->descriptor());
  rest();
  try {
    greet();
  } catch (const RigError&) {
    // It may listen all the same.
    tell(output_ + " OFF");
    throw;
  }
}

bool ScpiDevice::make_silent() noexcept {
  // By the link there is, unless that is what is wrong; then by a new one.
  const int attempts = gave_up_ ? 1 : 2;
  for (int attempt = 0; attempt < attempts; ++attempt) {
    try {
      if (attempt == 1 || gave_up_ || !link_) reach_again();
      rest();
      link_->write(output_ + " OFF;:" + output_ + "?");
      const std::optional<std::string> answer = link_->read(patience_);
      answered_ = clock_->now();
      if (answer && scpi_says(*answer, 0)) {
        gave_up_ = on_ = false;
        return true;
      }
    } catch (const std::exception&) {
      // The next attempt, or the caller says that it failed.
    }
  }
  gave_up_ = true;
  return false;
}

void ScpiDevice::lock_keys() {
  tell("SYST:RWL");
  locked_ = true;  // until it says that it is not
  rest();
  const Answer answer = ask("SYST:ERR?");
  locked_ = scpi_number(answer.text.substr(0, answer.text.find(','))) == 0.0;
  keys_not_locked_ = locked_ ? "" : scpi_quoted(answer.text);
  if (!locked_) errors();
}

void ScpiDevice::unlock() noexcept {
  if (!locked_) return;
  try {
    if (!link_) reach_again();
    tell("SYST:LOC");
    // Some forget what they have not done yet when the link is closed.
    if (!gave_up_) errors();
  } catch (const std::exception&) {
    // Then its mains switch does it.
  }
  locked_ = false;
}

std::vector<std::string> ScpiDevice::errors() {
  std::vector<std::string> out;
  for (int i = 0; link_ && i < most_errors; ++i) {
    rest();
    link_->write("SYST:ERR?");
    const std::optional<std::string> answer = link_->read(patience_);
    answered_ = clock_->now();
    if (!answer) return out;
    const std::optional<double> code = scpi_number(answer->substr(0, answer->find(',')));
    if (!code || *code == 0) return out;
    out.push_back(shown(*answer));
  }
  return out;
}

std::string ScpiDevice::errors_as_text() {
  std::string text;
  try {
    for (const std::string& error : errors()) text += (text.empty() ? "; its error queue: " : ", ") + error;
  } catch (const RigError&) {
    // What is known without the queue has to do.
  }
  return text;
}

void ScpiDevice::set(const std::string& header, const std::string& value,
                     const std::function<bool(const std::string&)>& ok) {
  rest();
  const Answer answer = ask(header + " " + value + ";:" + header + "?");
  if (!ok(answer.text))
    throw RigError(fmt::format("{} was sent `{} {}` and answers {}{}", name_, header, value,
                               scpi_quoted(answer.text), errors_as_text()));
}

void ScpiDevice::set_number(const std::string& header, double value) {
  set(header, fmt::format("{:.6g}", value),
      [&](const std::string& text) { return scpi_is_near(text, value); });
}

Nanos ScpiDevice::longest_answer(const std::string& question) {
  Nanos longest = 0;
  for (int i = 0; i < answers_timed; ++i) {
    rest();
    const Answer answer = ask(question);
    longest = std::max(longest, answer.came - answer.sent);
  }
  return longest;
}

void ScpiDevice::clear() {
  // Its name is the barrier: it comes when what stands before it is done.
  const std::string clean = kind_.reset ? "*RST;*CLS;*IDN?" : "*CLS;*IDN?";
  rest();
  const Answer name = ask(clean, std::max(patience_, kind_.reset ? reset_patience : 0));
  if (name.text != identity_)
    throw RigError(fmt::format("{} was sent `{}` and answers {}", name_, clean, scpi_quoted(name.text)));
  lock_keys();
  set(output_, "OFF", [](const std::string& text) { return scpi_says(text, 0); });
}

void ScpiDevice::no_errors() {
  if (const std::string text = errors_as_text(); !text.empty())
    throw RigError(name_ + " took its settings but reports an error" + text);
}

ScpiDevice::Answer ScpiDevice::switch_off() {
  Answer answer = ask(output_ + " OFF;:" + output_ + "?");
  if (!scpi_says(answer.text, 0))
    throw RigError(fmt::format("{} was told to switch its output off and answers {}{}", name_,
                               scpi_quoted(answer.text), errors_as_text()));
  on_ = false;
  return answer;
}

std::optional<std::string> ScpiDevice::output_differs(const std::string& said, bool on) {
  if (scpi_says(said, on ? 1 : 0)) return std::nullopt;
  return scpi_says(said, 0)   ? "its output is off (set: on)"
         : scpi_says(said, 1) ? "its output is on (set: off)"
                              : "its output is " + scpi_quoted(said);
}

}  // namespace tachproof
