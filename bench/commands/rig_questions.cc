#include "bench/commands/rig_questions.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <optional>

#include "bench/commands/camera_words.h"
#include "bench/commands/command.h"
#include "bench/commands/terminal.h"
#include "bench/record/text.h"

namespace tachproof {
namespace {

std::string joined(const std::vector<Choice>& choices) {
  std::string text;
  for (const Choice& choice : choices) text += (text.empty() ? "" : ", ") + choice.word;
  return text;
}

}  // namespace

std::vector<Choice> choices_of(const std::vector<PortFound>& ports) {
  std::vector<Choice> choices;
  for (const PortFound& port : ports)
    choices.push_back({port.name, port.closed_because.empty() ? port.description : port.closed_because});
  return choices;
}

std::string word_or_asked(const std::string& option, const std::string& given, const std::string& question,
                          const std::vector<Choice>& choices, bool free) {
  const auto fits = [&](const std::string& word) {
    return !word.empty() && (free || std::any_of(choices.begin(), choices.end(),
                                                 [&](const Choice& c) { return c.word == word; }));
  };
  if (fits(given)) return given;
  if (!given.empty()) throw UsageError(option + " is '" + given + "'; allowed: " + joined(choices));
  if (is_terminal(stderr) && is_terminal(stdin)) {
    fmt::print(stderr, "\n{}\n", question);
    for (std::size_t i = 0; i < choices.size(); ++i)
      fmt::print(stderr, "  {}  {:12} {}\n", i + 1, printable(choices[i].word), printable(choices[i].about));
  }
  for (;;) {
    const std::optional<std::string> answer = ask_at_terminal(choices.empty() ? "> "
                                                              : free ? "A number from above, or what it is: "
                                                                     : "A number or word from above: ");
    if (!answer)
      throw UsageError("give " + option +
                       (choices.empty() || free ? "; see `tachproof rig --help`" : ": " + joined(choices)));
    std::size_t number = 0;
    const auto [end, error] = std::from_chars(answer->data(), answer->data() + answer->size(), number);
    const bool whole = error == std::errc{} && end == answer->data() + answer->size();
    if (whole && number >= 1 && number <= choices.size()) return choices[number - 1].word;
    if (fits(*answer)) return *answer;
  }
}

double number_or_asked(const std::string& option, const std::string& given, const std::string& question,
                       double least, double most) {
  return option_number(option, word_or_asked(option, given, question, {}, true), 0, least, most);
}

}  // namespace tachproof
