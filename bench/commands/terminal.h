// What the person at the terminal sees and says beside a command's output.
#pragma once

#include <cstdio>
#include <optional>
#include <string>

#include "bench/run/runner.h"
#include "core/gauge/gauge.h"

namespace tachproof {

bool is_terminal(std::FILE* stream);
// A terminal, and the user has not set NO_COLOR.
bool wants_colour(std::FILE* stream);
int columns_of(std::FILE* stream);  // 80 when it is no terminal

// Writes and takes back one line on stderr while a run goes. Silent when
// stderr is no terminal.
class ProgressLine {
 public:
  // `label` stands before it. `duration` 0: it is not known beforehand.
  ProgressLine(const Gauge& gauge, Nanos duration, std::string label = "");
  ~ProgressLine();
  // `more` stands after the time.
  void show(const RunProgress& progress, const std::string& more = "");
  void clear();

 private:
  const Gauge& gauge_;
  Nanos duration_;
  std::string label_;
  bool wanted_;
  bool shown_ = false;
};

// The window whose cue this may be; if it is no window's, what is lit.
std::string shown_window(const Gauge& gauge, Channels lit);

// Puts a question and takes a line, without the blanks around it. Nothing when
// stdin or stderr is no terminal, or the person ends the input.
std::optional<std::string> ask_at_terminal(const std::string& question);

// Puts a scenario's questions and takes the answers, a line each. Nobody is
// there when stdin or stderr is no terminal.
class TerminalQuestions {
 public:
  // Puts the question when it is a new one; waits `patience` for the answer.
  std::optional<Reply> operator()(const Ask& ask, Nanos patience);

 private:
  const Ask* put_ = nullptr;
};

}  // namespace tachproof
