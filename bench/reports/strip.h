// A lamp over time as one strip of a drawing.
#pragma once

#include <cstddef>
#include <vector>

#include "bench/record/record.h"
#include "core/gauge/gauge.h"

namespace tachproof {

// What one lamp shows.
struct LampState {
  enum class Kind {
    unknown,  // nothing was seen, or nothing is demanded
    dark,
    lit,
    flashing,  // blinking, or on and off too fast to draw
    either,    // expected: more than one state is allowed
    several    // seen: more than one colour at once
  } kind = Kind::unknown;
  std::size_t colour = 0;  // of the lamp's colours; lit and flashing
  bool operator==(const LampState&) const = default;
};

// From `from` until the next one.
struct LampSpan {
  Nanos from = 0;
  LampState state;
};

std::vector<LampSpan> expected_spans(const Gauge& gauge, std::size_t lamp, const std::vector<Reach>& reaches);
std::vector<LampSpan> seen_spans(const Gauge& gauge, std::size_t lamp, const std::vector<LampEvent>& events);

// The strip as `columns` columns of equal time between 0 and `until`, runs of
// equal columns together: bounded, however much the lamp did.
struct ColumnRun {
  std::size_t first = 0;
  std::size_t columns = 0;
  LampState state;
};
std::vector<ColumnRun> column_runs(const std::vector<LampSpan>& spans, Nanos until, std::size_t columns);

}  // namespace tachproof
