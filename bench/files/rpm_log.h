// An rpm log of a car: the CSV that a logger writes, as a scenario replays it.
//
// A text file with a header. The header is the first of the first 100 lines that has both columns,
// which are named as they stand there; what is above it is not looked at. Below it may follow up to
// three lines of words, such as units. Cells are parted by commas, semicolons or tabs; with the last
// two a decimal comma is a decimal point. '#' begins a comment line. A row whose rpm is empty has no
// sample (a logger that writes fast channels leaves the slow ones blank).
//
// The time is in the unit that the scenario says; else in that of the column's name ("Time [ms]",
// "t_ms"), else in that of a line of units, else in seconds.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <variant>

#include "bench/files/files.h"

namespace tachproof {

inline constexpr std::size_t most_log_bytes = 64 * 1024 * 1024;
inline constexpr double usual_steepest_rpm_per_s = 100'000;  // common practice, no published source

struct LogAsk {
  std::string time, rpm;                                 // columns
  std::string time_in;                                   // "s" or "ms"; empty: as the file says
  std::optional<double> from_s, to_s;                    // by the log's own clock
  double steepest_rpm_per_s = usual_steepest_rpm_per_s;  // no engine is faster
};

struct RpmLog {
  LoggedRpm step;
  LogFacts facts;  // without the file's name
};

// Why a log cannot be replayed: "line 45: time 12.30 s after 12.31 s", and what is allowed.
struct LogTrouble {
  std::string found, allowed;
  std::string key = "replay";  // of the step: what is to be blamed
};

// Of the part from..to, and no other, every sample is checked: 10 to 1000 a second (by the median of
// the times between them), times that rise, no gap of more than 5 sample periods or 1 s, rpm from 0
// to 20000, no change that is steeper than an engine can. Times are checked in the whole file.
std::variant<RpmLog, LogTrouble> read_rpm_log(std::string_view text, const LogAsk& ask);

}  // namespace tachproof
