// The first line of a CSV recording: what its columns are.
//
//     ; comments may come first, with ; or #
//     "Time [s]", D0, D1
//
// The separator is the comma, semicolon or tab that the header has most of.
// The time is in seconds unless its name plainly says ms, us, ns or ps.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "bench/formats/line_buffer.h"

namespace tachproof {

struct CsvHeader {
  char separator = ',';
  int unit_exponent = 0;              // the time column is in 10^this seconds
  std::vector<std::string> channels;  // the columns after the time
};

// Leaves `lines` behind the header. Throws RecordingError.
CsvHeader read_csv_header(LineBuffer& lines);

// The power of ten of a second that a unit is: 0 of "s", -3 of "ms"; nothing for another word.
std::optional<int> exponent_of_seconds(std::string_view unit);
// That the name of a time column says: "Time [ms]", "t/ns", "time_ms", "Time in ms".
std::optional<int> time_unit_in(std::string_view name);

// The line up to its newline, without a carriage return, and past it.
std::string_view csv_line(const char*& next, const char* limit);
bool is_csv_comment(std::string_view line);

// A decimal number, in plain or exponent form.
struct CsvNumber {
  bool negative = false;
  bool exponent_form = false;
  std::uint64_t digits = 0;  // the value is digits * 10^exponent
  int exponent = 0;
};
// False when `text` is not a number, or has more than 19 digits that count.
bool parse_number(std::string_view text, CsvNumber& number);

}  // namespace tachproof
