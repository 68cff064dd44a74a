#include "bench/reports/strip.h"

#include <algorithm>
#include <bit>

namespace tachproof {
namespace {

// The lamp's own bits of a set of channels, its first colour in bit 0.
Channels own(const Gauge& gauge, std::size_t lamp, Channels set) {
  const Channels mask = gauge.lamp_channels(lamp);
  return mask == 0 ? 0 : (set & mask) >> std::countr_zero(mask);
}

LampState state_of(Channels steady, Channels blinking) {
  const Channels all = steady | blinking;
  if (all == 0) return {LampState::Kind::dark, 0};
  if (std::popcount(all) > 1) return {LampState::Kind::several, 0};
  const auto colour = static_cast<std::size_t>(std::countr_zero(all));
  return {blinking != 0 ? LampState::Kind::flashing : LampState::Kind::lit, colour};
}

void append(std::vector<LampSpan>& spans, Nanos from, LampState state) {
  if (spans.empty() || !(spans.back().state == state)) spans.push_back({from, state});
}

}  // namespace

std::vector<LampSpan> expected_spans(const Gauge& gauge, std::size_t lamp,
                                     const std::vector<Reach>& reaches) {
  std::vector<LampSpan> spans;
  for (const Reach& reach : reaches) {
    LampState state;
    for (std::size_t w = reach.lowest; w <= reach.highest && w < gauge.windows.size(); ++w) {
      const Cue& cue = gauge.windows[w].cue;
      const LampState one = state_of(own(gauge, lamp, cue.steady), own(gauge, lamp, cue.blinking));
      if (w == reach.lowest)
        state = one;
      else if (!(state == one))
        state = {LampState::Kind::either, 0};
    }
    append(spans, reach.from, state);
  }
  return spans;
}

std::vector<LampSpan> seen_spans(const Gauge& gauge, std::size_t lamp, const std::vector<LampEvent>& events) {
  std::vector<LampSpan> spans;
  for (const LampEvent& event : events) append(spans, event.at, state_of(own(gauge, lamp, event.lit), 0));
  return spans;
}

namespace {

// On and off in turn, each shorter than `shortest`, becomes one flashing span:
// drawn one by one such flashes would run together.
std::vector<LampSpan> flashes_joined(const std::vector<LampSpan>& spans, Nanos until, Nanos shortest) {
  std::vector<bool> flashing(spans.size(), false);
  const auto is_short = [&](std::size_t i) {
    return (i + 1 < spans.size() ? spans[i + 1].from : until) - spans[i].from < shortest;
  };
  for (std::size_t i = 0; i + 2 < spans.size(); ++i) {
    const bool on_off_on = spans[i].state.kind == LampState::Kind::lit &&
                           spans[i + 1].state.kind == LampState::Kind::dark &&
                           spans[i + 2].state == spans[i].state;
    if (on_off_on && is_short(i) && is_short(i + 1) && is_short(i + 2))
      flashing[i] = flashing[i + 1] = flashing[i + 2] = true;
  }
  std::vector<LampSpan> joined;
  for (std::size_t i = 0; i < spans.size(); ++i) {
    LampState state = spans[i].state;
    if (flashing[i] && state.kind == LampState::Kind::dark) state = spans[i + 1].state;
    if (flashing[i]) state.kind = LampState::Kind::flashing;
    append(joined, spans[i].from, state);
  }
  return joined;
}

// How long each state lasted within one column.
struct Column {
  std::vector<std::pair<LampState, double>> shares;

  void add(LampState state, double share) {
    const auto same = [&](const auto& s) { return s.first == state; };
    const auto found = std::find_if(shares.begin(), shares.end(), same);
    if (found == shares.end())
      shares.emplace_back(state, share);
    else
      found->second += share;
  }

  LampState shown() const {
    const auto less = [](const auto& a, const auto& b) { return a.second < b.second; };
    return shares.empty() ? LampState{} : std::max_element(shares.begin(), shares.end(), less)->first;
  }
};

}  // namespace

std::vector<ColumnRun> column_runs(const std::vector<LampSpan>& all, Nanos until, std::size_t columns) {
  constexpr Nanos shortest_drawn = 3;  // columns
  const std::vector<LampSpan> spans =
      flashes_joined(all, until, shortest_drawn * until / static_cast<Nanos>(columns));
  std::vector<Column> cells(columns);
  const double scale = static_cast<double>(columns) / static_cast<double>(std::max<Nanos>(until, 1));
  const double last = static_cast<double>(columns);
  for (std::size_t i = 0; i < spans.size(); ++i) {
    const Nanos end = i + 1 < spans.size() ? spans[i + 1].from : until;
    double x = std::clamp(static_cast<double>(spans[i].from) * scale, 0.0, last);
    const double stop = std::clamp(static_cast<double>(end) * scale, 0.0, last);
    while (x < stop) {
      const auto column = std::min(static_cast<std::size_t>(x), columns - 1);
      const double next = std::min(stop, static_cast<double>(column) + 1);
      cells[column].add(spans[i].state, next - x);
      x = next;
    }
  }
  std::vector<ColumnRun> runs;
  for (std::size_t c = 0; c < columns; ++c) {
    const LampState state = cells[c].shown();
    if (!runs.empty() && runs.back().state == state)
      ++runs.back().columns;
    else
      runs.push_back({c, 1, state});
  }
  return runs;
}

}  // namespace tachproof
