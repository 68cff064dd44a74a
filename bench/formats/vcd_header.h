// The declarations of a value change dump (VCD, IEEE 1364-2005, clause 18):
// everything up to `$enddefinitions $end`.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "bench/formats/line_buffer.h"
#include "core/base/time.h"

namespace tachproof {

// A time in the file's units, to nanoseconds: times `multiply`, over `divide`,
// one of which is 1.
struct VcdTimescale {
  std::uint64_t multiply = 1;
  std::uint64_t divide = 1;
};

inline constexpr std::uint32_t widest_wired = 64;  // bits of a vector that can be named one by one

enum class VcdKind : std::uint8_t { bits, real, string, event };

struct VcdVariable {
  VcdKind kind = VcdKind::bits;
  std::uint32_t width = 1;
  std::string code;   // its identifier in the changes
  std::string scope;  // "top.unit"; empty outside of all scopes
  std::string name;   // without its range
  // As declared: `bus [7:0]` has 7 and 0, `bus [3]` (one bit of it) 3 and 3.
  struct Range {
    int left = 0;
    int right = 0;
    bool one_index = false;  // written as [3]
  };
  std::optional<Range> range;
};

struct VcdHeader {
  VcdTimescale timescale;
  std::vector<VcdVariable> variables;  // file order
};

// Leaves `lines` behind the `$end` of `$enddefinitions`. Throws RecordingError.
VcdHeader read_vcd_header(LineBuffer& lines);

}  // namespace tachproof
