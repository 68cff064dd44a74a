#include "bench/rigs/scpi/instrument.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include "bench/rigs/rig.h"
#include "core/base/foreign_text.h"
#include "core/base/parse.h"

namespace tachproof {
namespace {

constexpr Nanos reset_patience = 5 * ns_per_s;
constexpr int most_errors = 20;
constexpr int answers_timed = 8;
constexpr double scpi_infinity = 9e37;  // SCPI-99, 7.2.1.4: 9.9E37 stands for infinity

std::optional<double> number_in(std::string_view text) {
  while (text.starts_with(' ')) text.remove_prefix(1);
  if (text.starts_with('+')) text.remove_prefix(1);
  return parse_number<double>(text);
}

bool says(const std::string& text, double wanted) { return number_in(text) == wanted; }

// An answer for a message to a person: shown as what it is, not too long.
std::string in_quotes(const std::string& text) {
  return "'" + shown(text.substr(0, 60)) + (text.size() > 60 ? "...'" : "'");
}

}  // namespace

Instrument::Instrument(const ScpiSetting& setting, std::shared_ptr<CommandClock> clock, OpenLink open,
                       Nanos patience)
    : setting_(setting),
      clock_(std::move(clock)),
      open_(std::move(open)),
      patience_(patience),
      name_("the generator at " + setting.address),
      source_(setting.channel == 1 ? "" : fmt::format("SOUR{}:", setting.channel)),
      output_(setting.channel == 1 ? "OUTP" : fmt::format("OUTP{}", setting.channel)) {
  link_ = open_();
  greet();
}

// Whatever an earlier user left in the line is gone when it gives its name.
void Instrument::greet() {
  link_->write("*IDN?");
  const auto is_name = [](const std::string& text) { return std::count(text.begin(), text.end(), ',') == 3; };
  std::optional<std::string> answer = link_->read(patience_);
  for (int stale = 0; answer && !is_name(*answer) && stale < most_errors; ++stale)
    answer = link_->read(patience_);
  answered_ = clock_->now();
  if (!answer || !is_name(*answer))
    throw RigError(
        name_ + " does not answer *IDN? with a name: is it a signal generator, and is this its SCPI port?");
  if (!identity_.empty() && *answer != identity_)
    throw RigError(name_ + " is not the same one as before: " + in_quotes(*answer));
  identity_ = *answer;
}

void Instrument::rest() { clock_->wait_until(answered_ + setting_.settle); }

Instrument::Answer Instrument::ask(const std::string& message, Nanos patience) {
  Answer answer;
  answer.sent = clock_->now();
  link_->write(message);
  std::optional<std::string> text = link_->read(patience);
  answer.came = answered_ = clock_->now();
  if (!text) no_answer(message, patience);
  answer.text = std::move(*text);
  return answer;
}

void Instrument::no_answer(const std::string& message, Nanos patience) {
  link_.reset();  // its answer may still come, and would be taken for the next one's
  const std::string why = make_silent() ? errors_as_text() : "; it cannot be reached again";
  throw RigError(fmt::format("{} did not answer `{}` within {} ms{}", name_, message, to_ms(patience), why));
}

bool Instrument::make_silent() noexcept {
  // By the link there is, unless that is what is wrong; then by a new one.
  for (int attempt = 0; attempt < 2; ++attempt) {
    try {
      if (attempt == 1 || !link_) {
        link_.reset();
        link_ = open_();
        greet();
      }
      rest();
      link_->write(output_ + " OFF;:" + output_ + "?");
      const std::optional<std::string> answer = link_->read(patience_);
      answered_ = clock_->now();
      if (answer && says(*answer, 0)) return true;
    } catch (const std::exception&) {
      // The next attempt, or the caller says that it failed.
    }
  }
  return false;
}

std::vector<std::string> Instrument::errors() {
  std::vector<std::string> out;
  for (int i = 0; i < most_errors; ++i) {
    rest();
    link_->write("SYST:ERR?");
    const std::optional<std::string> answer = link_->read(patience_);
    answered_ = clock_->now();
    if (!answer) return out;
    const std::optional<double> code = number_in(answer->substr(0, answer->find(',')));
    if (!code || *code == 0) return out;
    out.push_back(shown(*answer));
  }
  return out;
}

std::string Instrument::errors_as_text() {
  std::string text;
  try {
    for (const std::string& error : errors()) text += (text.empty() ? "; its error queue: " : ", ") + error;
  } catch (const RigError&) {
    // What is known without the queue has to do.
  }
  return text;
}

void Instrument::set(const std::string& header, const std::string& value,
                     const std::function<bool(const std::string&)>& ok) {
  rest();
  const Answer answer = ask(header + " " + value + ";:" + header + "?");
  if (!ok(answer.text))
    throw RigError(fmt::format("{} was sent `{} {}` and answers {}{}", name_, header, value,
                               in_quotes(answer.text), errors_as_text()));
}

void Instrument::set_number(const std::string& header, double value) {
  set(header, fmt::format("{:.6g}", value), [&](const std::string& text) {
    const std::optional<double> said = number_in(text);
    return said && std::abs(*said - value) <= 0.01 * std::abs(value) + 1e-3;
  });
}

void Instrument::set_up() {
  // Its name is the barrier: it comes when what stands before it is done.
  const std::string clean = setting_.reset ? "*RST;*CLS;*IDN?" : "*CLS;*IDN?";
  rest();
  const Answer name = ask(clean, std::max(patience_, setting_.reset ? reset_patience : 0));
  if (name.text != identity_)
    throw RigError(fmt::format("{} was sent `{}` and answers {}", name_, clean, in_quotes(name.text)));
  set(output_, "OFF", [](const std::string& text) { return says(text, 0); });
  set(source_ + "FUNC", "SQU", [](const std::string& text) { return text.starts_with("SQU"); });
  if (setting_.load_ohm) {
    const std::string header = output_ + ":LOAD";
    if (*setting_.load_ohm > 0)
      set_number(header, *setting_.load_ohm);
    else
      set(header, "INF", [](const std::string& text) {
        return text.starts_with("INF") || number_in(text).value_or(0) > scpi_infinity;
      });
  }
  set_number(source_ + "VOLT", setting_.amplitude_v);
  set_number(source_ + "VOLT:OFFS", setting_.offset_v);
  if (const std::string text = errors_as_text(); !text.empty())
    throw RigError(name_ + " took its settings but reports an error" + text);
}

Nanos Instrument::longest_answer_time() {
  Nanos longest = 0;
  for (int i = 0; i < answers_timed; ++i) {
    rest();
    const Answer answer = ask(source_ + "FREQ?");
    longest = std::max(longest, answer.came - answer.sent);
  }
  return longest;
}

Instrument::Answer Instrument::set_frequency(double hz, double& read_back) {
  const std::string header = source_ + "FREQ";
  const std::string message = fmt::format("{} {:.6f};:{}?", header, hz, header);
  Answer answer = ask(message);
  const std::optional<double> said = number_in(answer.text);
  if (!said || std::abs(*said - hz) > setting_.resolution_hz)
    throw RigError(fmt::format("{} was set to {:.6f} Hz and answers {}{}", name_, hz, in_quotes(answer.text),
                               errors_as_text()));
  read_back = *said;
  return answer;
}

Instrument::Answer Instrument::start(double hz, double& read_back) {
  const std::string header = source_ + "FREQ";
  Answer answer = ask(fmt::format("{} {:.6f};:{} ON;:{}?;:{}?", header, hz, output_, header, output_));
  const std::size_t semicolon = answer.text.find(';');
  const std::optional<double> said = number_in(answer.text.substr(0, semicolon));
  const bool on = semicolon != std::string::npos && says(answer.text.substr(semicolon + 1), 1);
  if (!on || !said || std::abs(*said - hz) > setting_.resolution_hz)
    throw RigError(fmt::format("{} was set to {:.6f} Hz with its output on, and answers {}{}", name_, hz,
                               in_quotes(answer.text), errors_as_text()));
  read_back = *said;
  return answer;
}

Instrument::Answer Instrument::stop() {
  Answer answer = ask(output_ + " OFF;:" + output_ + "?");
  if (!says(answer.text, 0))
    throw RigError(fmt::format("{} was told to switch its output off and answers {}{}", name_,
                               in_quotes(answer.text), errors_as_text()));
  return answer;
}

}  // namespace tachproof
