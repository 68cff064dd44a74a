#include "bench/rigs/scpi/instrument.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>

#include "bench/rigs/rig.h"

namespace tachproof {
namespace {

constexpr double scpi_infinity = 9e37;  // SCPI-99, 7.2.1.4: 9.9E37 stands for infinity
// Of `answer`: the longest that the answer with the whole state may have taken
// before the run, for it to be asked with every change.
constexpr double well_within = 0.7;

}  // namespace

Instrument::Instrument(const ScpiSetting& setting, std::shared_ptr<CommandClock> clock, OpenLink open,
                       Nanos patience)
    : ScpiDevice({"the generator at " + setting.address, "a signal generator", setting.channel,
                  setting.answer, setting.settle, setting.reset},
                 std::move(clock), std::move(open), patience),
      setting_(setting) {}

bool Instrument::is_load(const std::string& text) const {
  if (setting_.load_ohm.value() > 0) return scpi_is_near(text, *setting_.load_ohm);
  return text.starts_with("INF") || scpi_number(text).value_or(0) > scpi_infinity;
}

void Instrument::set_up() {
  clear();
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
  no_errors();
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
  if (const auto differs = output_differs(said[1], on)) all.push_back(*differs);
  if (!said[2].starts_with("SQU"))
    all.push_back(fmt::format("its wave is {} (set: 'SQU')", scpi_quoted(said[2])));
  if (!scpi_is_near(said[3], setting_.amplitude_v))
    all.push_back(
        fmt::format("its amplitude is {} Vpp (set: {})", scpi_number_said(said[3]), setting_.amplitude_v));
  if (!scpi_is_near(said[4], setting_.offset_v))
    all.push_back(fmt::format("its offset is {} V (set: {})", scpi_number_said(said[4]), setting_.offset_v));
  if (setting_.load_ohm && !is_load(said[5]))
    all.push_back(
        fmt::format("its load is {} ohm (set: {})", scpi_number_said(said[5]),
                    *setting_.load_ohm > 0 ? fmt::format("{}", *setting_.load_ohm) : "high impedance"));
  return scpi_joined(all);
}

Instrument::Answer Instrument::set_frequency(double hz, double& read_back) {
  const std::string question = state_with_changes_ ? whole_state() : source_ + "FREQ?";
  Answer answer = ask(fmt::format("{}FREQ {:.6f};:{}", source_, hz, question));
  const std::vector<std::string> said = scpi_fields(answer.text);
  const std::optional<double> is = scpi_number(said.front());
  if (!is || std::abs(*is - hz) > setting_.resolution_hz || said.size() != scpi_fields(question).size())
    throw RigError(fmt::format("{} was set to {:.6f} Hz and answers {}{}", name(), hz,
                               scpi_quoted(answer.text), errors_as_text()));
  read_back = *is;
  if (state_with_changes_) answer.changed = differences(said, on_);
  return answer;
}

Instrument::Answer Instrument::state(double hz, bool on) {
  const std::string question = whole_state();
  Answer answer = ask(question);
  const std::vector<std::string> said = scpi_fields(answer.text);
  if (said.size() != scpi_fields(question).size())
    throw RigError(fmt::format("{} was asked `{}` and answers {}{}", name(), question,
                               scpi_quoted(answer.text), errors_as_text()));
  answer.changed = differences(said, on);
  const std::optional<double> is = scpi_number(said.front());
  if (on && (!is || std::abs(*is - hz) > setting_.resolution_hz))
    answer.changed += fmt::format("{}its frequency is {} Hz (set: {:.6f})",
                                  answer.changed.empty() ? "" : ", ", scpi_number_said(said.front()), hz);
  return answer;
}

Instrument::Answer Instrument::start(double hz, double& read_back) {
  const std::string header = source_ + "FREQ";
  Answer answer = ask(fmt::format("{} {:.6f};:{} ON;:{}?;:{}?", header, hz, output_, header, output_));
  const std::size_t semicolon = answer.text.find(';');
  const std::optional<double> said = scpi_number(answer.text.substr(0, semicolon));
  const bool on = semicolon != std::string::npos && scpi_says(answer.text.substr(semicolon + 1), 1);
  if (!on || !said || std::abs(*said - hz) > setting_.resolution_hz)
    throw RigError(fmt::format("{} was set to {:.6f} Hz with its output on, and answers {}{}", name(), hz,
                               scpi_quoted(answer.text), errors_as_text()));
  read_back = *said;
  on_ = true;
  return answer;
}

}  // namespace tachproof
