#include "bench/files/rpm_log.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

#include "bench/files/errors.h"
#include "bench/formats/csv_header.h"
#include "bench/formats/edge_time.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

constexpr std::size_t header_within = 100;  // lines
constexpr int most_word_lines = 3;
constexpr double slowest_hz = 10, fastest_hz = 1000;
constexpr double rate_slack = 1.01;  // clocks of loggers
constexpr double gap_periods = 5, gap_s = 1;
constexpr double furthest_s = 1e10;  // a clock that counts from 1970 is far below

// Thrown inside this file only.
struct UnsoundLog {
  LogTrouble trouble;
};

[[noreturn]] void refuse_log(std::string found, std::string allowed, std::string key = "replay") {
  throw UnsoundLog{{std::move(found), std::move(allowed), std::move(key)}};
}

std::vector<std::string> cells_of(std::string_view line, char separator) {
  std::vector<std::string> cells(1);
  bool in_quotes = false;
  for (const char c : line) {
    if (c == '"')
      in_quotes = !in_quotes;
    else if (c == separator && !in_quotes)
      cells.emplace_back();
    else
      cells.back() += c;
  }
  for (std::string& cell : cells) cell = std::string(without_blanks(cell));
  return cells;
}

class LogLines {
 public:
  explicit LogLines(std::string_view text) : rest_(text) {
    if (rest_.starts_with("\xEF\xBB\xBF")) rest_.remove_prefix(3);
  }
  // The next line that is neither empty nor a comment.
  bool next(std::string_view& line) {
    while (!rest_.empty()) {
      const std::size_t length = std::min(rest_.find('\n'), rest_.size());
      line = without_blanks(rest_.substr(0, length));
      rest_.remove_prefix(std::min(length + 1, rest_.size()));
      ++number_;
      if (!line.empty() && line.front() != '#') return true;
    }
    return false;
  }
  std::size_t number() const { return number_; }

 private:
  std::string_view rest_;
  std::size_t number_ = 0;
};

struct LogHeader {
  char separator = ',';
  std::size_t time = 0, rpm = 0, columns = 0;  // which cells
};

std::optional<std::size_t> only_one(const std::vector<std::string>& names, const std::string& name,
                                    const std::string& key, std::size_t line) {
  const auto found = std::find(names.begin(), names.end(), name);
  if (found == names.end()) return std::nullopt;
  if (std::find(found + 1, names.end(), name) != names.end())
    refuse_log(fmt::format("line {}: two columns are called '{}'", line, on_one_line(name)),
               "one of each name", key);
  return static_cast<std::size_t>(found - names.begin());
}

// What the file seems to call its columns, for who asked for others.
struct ColumnGuess {
  std::size_t line = 0;
  std::vector<std::string> names;

  void look_at(const std::vector<std::string>& cells, std::size_t at) {
    const bool words = std::none_of(cells.begin(), cells.end(),
                                    [](const std::string& c) { return number_alone(c).has_value(); });
    if (words && cells.size() > 1 && cells.size() > names.size()) {
      line = at;
      names = cells;
    }
  }
};

[[noreturn]] void no_such_columns(const ColumnGuess& guess, const LogAsk& ask) {
  if (guess.names.empty())
    refuse_log("no header in its first 100 lines", "a CSV whose header has the columns '" +
                                                       on_one_line(ask.time) + "' and '" +
                                                       on_one_line(ask.rpm) + "'");
  const auto has = [&](const std::string& name) {
    return std::find(guess.names.begin(), guess.names.end(), name) != guess.names.end();
  };
  const bool is_time = !has(ask.time);
  const std::string& missing = is_time ? ask.time : ask.rpm;
  const std::string meant = nearest(missing, guess.names);
  std::string all;
  for (const std::string& name : guess.names) all += (all.empty() ? "" : ", ") + name;
  refuse_log(fmt::format("line {}: no column '{}'", guess.line, on_one_line(missing)),
             meant.empty() ? "columns are " + on_one_line(all) : "did you mean '" + on_one_line(meant) + "'?",
             is_time ? "time" : "rpm");
}

LogHeader find_header(LogLines& lines, const LogAsk& ask) {
  ColumnGuess guess;
  std::string_view line;
  while (lines.number() < header_within && lines.next(line)) {
    for (const char separator : {',', ';', '\t'}) {
      const std::vector<std::string> cells = cells_of(line, separator);
      const auto time = only_one(cells, ask.time, "time", lines.number());
      const auto rpm = only_one(cells, ask.rpm, "rpm", lines.number());
      if (time && rpm) return {separator, *time, *rpm, cells.size()};
      guess.look_at(cells, lines.number());
    }
  }
  no_such_columns(guess, ask);
}

std::optional<double> number_in(std::string cell, char separator) {
  if (separator != ',' && cell.find('.') == std::string::npos)
    if (const std::size_t comma = cell.find(','); comma != std::string::npos) cell[comma] = '.';
  if (cell.starts_with('+')) cell.erase(0, 1);
  return number_alone(cell);
}

struct LoggedSample {
  double s = 0;
  double rpm = 0;
  std::size_t line = 0;
};

class LogReader {
 public:
  LogReader(std::string_view text, const LogAsk& ask) : ask_(ask), lines_(text) {}

  RpmLog read() {
    header_ = find_header(lines_, ask_);
    decide_unit(time_unit_in(ask_.time), "the column's name");
    if (!ask_.time_in.empty()) set_unit(ask_.time_in == "ms" ? -3 : 0, "time_in");
    std::string_view line;
    while (lines_.next(line)) row(cells_of(line, header_.separator));
    return played();
  }

 private:
  std::string here() const { return fmt::format("line {}", lines_.number()); }

  void set_unit(int exponent, const char* by) {
    exponent_ = exponent;
    scale_ = std::pow(10.0, exponent);
    unit_by_ = by;
  }
  void decide_unit(std::optional<int> exponent, const char* by) {
    if (exponent && unit_by_.empty()) set_unit(*exponent, by);
  }

  void row(const std::vector<std::string>& cells) {
    const auto value = [&](std::size_t at) {
      return at < cells.size() ? number_in(cells[at], header_.separator) : std::nullopt;
    };
    const std::optional<double> time = value(header_.time), rpm = value(header_.rpm);
    if (!time && !rpm && !last_ && words_ < most_word_lines) {
      ++words_;
      if (header_.time < cells.size()) {
        std::string_view unit = cells[header_.time];
        while (unit.starts_with('[') || unit.starts_with('(')) unit.remove_prefix(1);
        while (unit.ends_with(']') || unit.ends_with(')')) unit.remove_suffix(1);
        decide_unit(exponent_of_seconds(unit), "the line of units");
      }
      return;
    }
    if (cells.size() < header_.columns)
      refuse_log(fmt::format("{}: {} cells", here(), cells.size()),
                 fmt::format("{}, as the header has; was the file cut off?", header_.columns));
    if (!time) refuse_log(fmt::format("{}: time '{}'", here(), on_one_line(cells[header_.time])), "a number");
    const double s = *time * scale_;
    if (!(std::fabs(s) <= furthest_s)) refuse_log(fmt::format("{}: time {} s", here(), s), "at most 1e10 s");
    if (last_ && s <= last_->s)
      refuse_log(fmt::format("{}: time {:.10g} s after {:.10g} s", here(), s, last_->s), "times that rise");
    take(s, cells[header_.rpm], rpm);
  }

  // One sample on either side of the part that is played is needed, and no more.
  void take(double s, const std::string& cell, std::optional<double> rpm) {
    const bool before = ask_.from_s && s < *ask_.from_s;
    const bool after = ask_.to_s && !samples_.empty() && samples_.back().s >= *ask_.to_s;
    const bool beside = before || after;
    if (cell.empty() || (beside && !sound(rpm))) {
      last_ = LoggedSample{s, 0, lines_.number()};
      return;
    }
    if (!sound(rpm))
      refuse_log(fmt::format("{}: rpm '{}'", here(), on_one_line(cell)), "a number from 0 to 20000");
    last_ = LoggedSample{s, *rpm, lines_.number()};
    if (!first_) first_ = last_;
    if (after) return;
    if (before) samples_.clear();
    samples_.push_back(*last_);
    if (samples_.size() > Profile::max_segments)
      refuse_log(fmt::format("{}: more than {} samples to play", here(), Profile::max_segments),
                 "a shorter part: from: and to: choose it", "from");
  }

  static bool sound(const std::optional<double>& rpm) { return rpm && *rpm >= 0 && *rpm <= Profile::max_rpm; }

  RpmLog played() {
    if (samples_.size() < 2) refuse_log(fmt::format("{} samples", samples_.size()), "at least two");
    const double begins = samples_.front().s, ends = samples_.back().s;
    if (ask_.from_s && (*ask_.from_s < begins || *ask_.from_s >= ends))
      refuse_log(fmt::format("'from' is {:.10g} s, and the log goes from {:.10g} to {:.10g} s", *ask_.from_s,
                             first_->s, last_->s),
                 "a time inside it, by its own clock", "from");
    if (ask_.to_s && (*ask_.to_s > ends || *ask_.to_s <= begins))
      refuse_log(fmt::format("'to' is {:.10g} s, and the log goes from {:.10g} to {:.10g} s", *ask_.to_s,
                             first_->s, last_->s),
                 "a time inside it, by its own clock", "to");
    check_times();
    check_rates();
    return cut();
  }

  void check_times() {
    std::vector<double> periods;
    for (std::size_t i = 1; i < samples_.size(); ++i) periods.push_back(samples_[i].s - samples_[i - 1].s);
    const auto middle = periods.begin() + static_cast<std::ptrdiff_t>(periods.size() / 2);
    std::nth_element(periods.begin(), middle, periods.end());
    period_s_ = *middle;
    const double hz = 1 / period_s_;
    if (hz < slowest_hz / rate_slack || hz > fastest_hz * rate_slack)
      refuse_log(fmt::format("{:.4g} samples a second, with the time in {}", hz, unit()),
                 "10 to 1000; time_in: s or ms says what the time is in");
    const double most = std::min(gap_periods * period_s_, gap_s);
    for (std::size_t i = 1; i < samples_.size(); ++i)
      if (const double gap = samples_[i].s - samples_[i - 1].s; gap > most * rate_slack)
        refuse_log(fmt::format("line {}: nothing for {:.4g} s before it", samples_[i].line, gap),
                   fmt::format("at most {:.4g} s without a sample (5 sample periods, or 1 s)", most));
  }

  void check_rates() const {
    for (std::size_t i = 1; i < samples_.size(); ++i) {
      const LoggedSample &a = samples_[i - 1], &b = samples_[i];
      const double rate = std::fabs(b.rpm - a.rpm) / (b.s - a.s);
      if (rate > ask_.steepest_rpm_per_s)
        refuse_log(fmt::format("line {}: from {:.6g} to {:.6g} rpm in {:.4g} ms, which is {:.0f} rpm/s",
                               b.line, a.rpm, b.rpm, (b.s - a.s) * 1e3, rate),
                   fmt::format("at most {:.6g} rpm/s; steepest: allows more", ask_.steepest_rpm_per_s),
                   "steepest");
    }
  }

  std::string unit() const {
    return exponent_ == 0 ? "s" : exponent_ == -3 ? "ms" : fmt::format("1e{} s", exponent_);
  }

  // From..to, with the rpm between two samples where it begins or ends there.
  RpmLog cut() const {
    const double from = ask_.from_s.value_or(samples_.front().s);
    const double to = ask_.to_s.value_or(samples_.back().s);
    const auto between = [](const LoggedSample& a, const LoggedSample& b, double s) {
      return a.rpm + (b.rpm - a.rpm) * ((s - a.s) / (b.s - a.s));
    };
    auto points = std::make_shared<std::vector<LoggedRpm::Sample>>();
    const auto add = [&](double s, double rpm) {
      const Nanos at = std::llround((s - from) * 1e9);
      if (points->empty() || at > points->back().at) points->push_back({at, rpm});
    };
    for (std::size_t i = 0; i < samples_.size(); ++i) {
      const LoggedSample& here = samples_[i];
      const LoggedSample& last = samples_[i == 0 ? 0 : i - 1];
      if (here.s < from) continue;
      if (points->empty()) add(from, i == 0 ? here.rpm : between(last, here, from));
      if (here.s > to) {
        add(to, between(last, here, to));
        break;
      }
      add(here.s, here.rpm);
    }
    if (points->size() < 2) refuse_log("less than two instants to play", "a longer part of the log", "to");
    RpmLog log;
    const auto [low, high] = std::minmax_element(points->begin(), points->end(),
                                                 [](const auto& a, const auto& b) { return a.rpm < b.rpm; });
    log.facts = {"",
                 points->size(),
                 1 / period_s_,
                 unit(),
                 unit_by_.empty() ? "nothing says otherwise" : unit_by_,
                 from,
                 to,
                 low->rpm,
                 high->rpm};
    log.step.samples = std::move(points);
    return log;
  }

  const LogAsk& ask_;
  LogLines lines_;
  LogHeader header_;
  int exponent_ = 0;
  double scale_ = 1;
  std::string unit_by_;
  int words_ = 0;
  double period_s_ = 0;
  std::optional<LoggedSample> first_, last_;  // of the whole file
  std::vector<LoggedSample> samples_;         // of the part that is played, and one beside it each way
};

}  // namespace

std::variant<RpmLog, LogTrouble> read_rpm_log(std::string_view text, const LogAsk& ask) {
  try {
    return LogReader(text, ask).read();
  } catch (const UnsoundLog& e) {
    return e.trouble;
  }
}

}  // namespace tachproof
