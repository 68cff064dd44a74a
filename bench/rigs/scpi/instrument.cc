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
// Of `answer`: the longest that the answer with the whole state may have taken
// before the run, for it to be asked with every change.
constexpr double well_within = 0.7;

std::optional<double> number_in(std::string_view text) {
  while (text.starts_with(' ')) text.remove_prefix(1);
  if (text.starts_with('+')) text.remove_prefix(1);
  return parse_number<double>(text);
}

// An answer for a message to a person: shown as what it is, not too long.
std::string in_quotes(const std::string& text) {
  return "'" + shown(text.substr(0, 60)) + (text.size() > 60 ? "...'" : "'");
}

bool says(const std::string& text, double wanted) { return number_in(text) == wanted; }

// As it was read back: instruments round.
bool is_near(const std::string& text, double value) {
  const std::optional<double> said = number_in(text);
  return said && std::abs(*said - value) <= 0.01 * std::abs(value) + 1e-3;
}

// A number as people write it; else what was said.
std::string number_said(const std::string& text) {
  const std::optional<double> number = number_in(text);
  return number ? fmt::format("{:.6g}", *number) : in_quotes(text);
}

// "100.0;1;SQU": the answers to one message.
std::vector<std::string> fields_of(const std::string& text) {
  std::vector<std::string> out(1);
  for (const char c : text)
    if (c == ';')
      out.emplace_back();
    else
      out.back() += c;
  return out;
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
      output_(setting.channel == 1 ? "OUTP" : fmt::format("OUTP{}", setting.channel)),
      first_(output_ + " OFF\nSYST:LOC") {
  link_ = open_();
  first_.way(link_->descriptor());
  if (const std::string where = link_->leads_to(); !where.empty()) {
    claim_.emplace(where);
    if (!claim_->refused().empty()) throw RigError("opening " + name_ + ": " + claim_->refused());
  }
  greet();
}

Instrument::~Instrument() {
  unlock();
  first_.way(-1);
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

// Without an answer: it may be at it for as long as one would take.
void Instrument::tell(const std::string& message) {
  rest();
  link_->write(message);
  answered_ = clock_->now() + setting_.answer;
}

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

void Instrument::reach_again() {
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

bool Instrument::make_silent() noexcept {
  // By the link there is, unless that is what is wrong; then by a new one.
  const int attempts = gave_up_ ? 1 : 2;
  for (int attempt = 0; attempt < attempts; ++attempt) {
    try {
      if (attempt == 1 || gave_up_ || !link_) reach_again();
      rest();
      link_->write(output_ + " OFF;:" + output_ + "?");
      const std::optional<std::string> answer = link_->read(patience_);
      answered_ = clock_->now();
      if (answer && says(*answer, 0)) {
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

void Instrument::lock_keys() {
  tell("SYST:RWL");
  locked_ = true;  // until it says that it is not
  rest();
  const Answer answer = ask("SYST:ERR?");
  locked_ = number_in(answer.text.substr(0, answer.text.find(','))) == 0.0;
  keys_not_locked_ = locked_ ? "" : in_quotes(answer.text);
  if (!locked_) errors();
}

void Instrument::unlock() noexcept {
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

std::vector<std::string> Instrument::errors() {
  std::vector<std::string> out;
  for (int i = 0; link_ && i < most_errors; ++i) {
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
  set(header, fmt::format("{:.6g}", value), [&](const std::string& text) { return is_near(text, value); });
}

bool Instrument::is_load(const std::string& text) const {
  if (setting_.load_ohm.value() > 0) return is_near(text, *setting_.load_ohm);
  return text.starts_with("INF") || number_in(text).value_or(0) > scpi_infinity;
}

void Instrument::set_up() {
  // Its name is the barrier: it comes when what stands before it is done.
  const std::string clean = setting_.reset ? "*RST;*CLS;*IDN?" : "*CLS;*IDN?";
  rest();
  const Answer name = ask(clean, std::max(patience_, setting_.reset ? reset_patience : 0));
  if (name.text != identity_)
    throw RigError(fmt::format("{} was sent `{}` and answers {}", name_, clean, in_quotes(name.text)));
  lock_keys();
  set(output_, "OFF", [](const std::string& text) { return says(text, 0); });
  set(source_ + "FUNC", "SQU", [](const std::string& text) { return text.starts_with("SQU"); });
  if (setting_.load_ohm) {
    const std::string header = output_ + ":LOAD";
    if (*setting_.load_ohm > 0)
      set_number(header, *setting_.load_ohm);
    else
      set(header, "INF", [this](const std::string& text) { return is_load(text); });
  }
  set_number(source_ + "VOLT", setting_.amplitude_v);
  set_number(source_ + "VOLT:OFFS", setting_.offset_v);
  if (const std::string text = errors_as_text(); !text.empty())
    throw RigError(name_ + " took its settings but reports an error" + text);
}

Nanos Instrument::longest_answer(const std::string& question) {
  Nanos longest = 0;
  for (int i = 0; i < answers_timed; ++i) {
    rest();
    const Answer answer = ask(question);
    longest = std::max(longest, answer.came - answer.sent);
  }
  return longest;
}

Instrument::AnswerTimes Instrument::answer_times() {
  AnswerTimes times;
  times.state = longest_answer(whole_state());
  state_with_changes_ =
      static_cast<double>(times.state) <= well_within * static_cast<double>(setting_.answer);
  times.change = state_with_changes_ ? times.state : longest_answer(source_ + "FREQ?");
  return times;
}

std::string Instrument::whole_state() const {
  std::string text = fmt::format("{0}FREQ?;:{1}?;:{0}FUNC?;:{0}VOLT?;:{0}VOLT:OFFS?", source_, output_);
  if (setting_.load_ohm) text += ";:" + output_ + ":LOAD?";
  return text;
}

// `said` are the answers to whole_state().
std::string Instrument::differences(const std::vector<std::string>& said, bool on) const {
  std::vector<std::string> all;
  if (!says(said[1], on ? 1 : 0))
    all.push_back(says(said[1], 0)   ? "its output is off (set: on)"
                  : says(said[1], 1) ? "its output is on (set: off)"
                                     : fmt::format("its output is {}", in_quotes(said[1])));
  if (!said[2].starts_with("SQU"))
    all.push_back(fmt::format("its wave is {} (set: 'SQU')", in_quotes(said[2])));
  if (!is_near(said[3], setting_.amplitude_v))
    all.push_back(
        fmt::format("its amplitude is {} Vpp (set: {})", number_said(said[3]), setting_.amplitude_v));
  if (!is_near(said[4], setting_.offset_v))
    all.push_back(fmt::format("its offset is {} V (set: {})", number_said(said[4]), setting_.offset_v));
  if (setting_.load_ohm && !is_load(said[5]))
    all.push_back(
        fmt::format("its load is {} ohm (set: {})", number_said(said[5]),
                    *setting_.load_ohm > 0 ? fmt::format("{}", *setting_.load_ohm) : "high impedance"));
  std::string text;
  for (const std::string& one : all) text += (text.empty() ? "" : ", ") + one;
  return text;
}

Instrument::Answer Instrument::set_frequency(double hz, double& read_back) {
  const std::string question = state_with_changes_ ? whole_state() : source_ + "FREQ?";
  Answer answer = ask(fmt::format("{}FREQ {:.6f};:{}", source_, hz, question));
  const std::vector<std::string> said = fields_of(answer.text);
  const std::optional<double> is = number_in(said.front());
  if (!is || std::abs(*is - hz) > setting_.resolution_hz || said.size() != fields_of(question).size())
    throw RigError(fmt::format("{} was set to {:.6f} Hz and answers {}{}", name_, hz, in_quotes(answer.text),
                               errors_as_text()));
  read_back = *is;
  if (state_with_changes_) answer.changed = differences(said, on_);
  return answer;
}

Instrument::Answer Instrument::state(double hz, bool on) {
  const std::string question = whole_state();
  Answer answer = ask(question);
  const std::vector<std::string> said = fields_of(answer.text);
  if (said.size() != fields_of(question).size())
    throw RigError(fmt::format("{} was asked `{}` and answers {}{}", name_, question, in_quotes(answer.text),
                               errors_as_text()));
  answer.changed = differences(said, on);
  const std::optional<double> is = number_in(said.front());
  if (on && (!is || std::abs(*is - hz) > setting_.resolution_hz))
    answer.changed += fmt::format("{}its frequency is {} Hz (set: {:.6f})",
                                  answer.changed.empty() ? "" : ", ", number_said(said.front()), hz);
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
  on_ = true;
  return answer;
}

Instrument::Answer Instrument::stop() {
  Answer answer = ask(output_ + " OFF;:" + output_ + "?");
  if (!says(answer.text, 0))
    throw RigError(fmt::format("{} was told to switch its output off and answers {}{}", name_,
                               in_quotes(answer.text), errors_as_text()));
  on_ = false;
  return answer;
}

}  // namespace tachproof
