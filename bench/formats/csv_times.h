// Time stamps of CSV recordings: exact to the nanosecond, and how fine they are.
#pragma once

#include <optional>
#include <string_view>

#include "bench/formats/csv_header.h"
#include "core/base/time.h"

namespace tachproof {

// `text`, in 10^unit_exponent seconds, to the nearest nanosecond; nothing when
// it is no number or is beyond +-4e9 s (a difference of two must be a Nanos).
// `number` is what was read.
std::optional<Nanos> csv_time(std::string_view text, int unit_exponent, CsvNumber& number);

// What the last digit written is worth; at least 1 ns.
Nanos csv_last_digit(const CsvNumber& number, int unit_exponent);

// From the rows at the beginning of the file: the sample spacing where rows
// come evenly and some repeat their levels, which only sampled ones do; else
// what the last digit written is worth.
Nanos csv_resolution(std::string_view head, const CsvHeader& header);

}  // namespace tachproof
