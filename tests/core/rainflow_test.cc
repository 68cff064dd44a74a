// What a signal's rainflow pairs say of every trigger, against plain triggers.
#include "core/flicker/rainflow.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <vector>

#include "core/flicker/flicker.h"
#include "core/flicker/side_runs.h"

namespace tachproof {
namespace {

// off -> on, counted the plain way; signals count as in Rainflow.
std::int32_t cycles_of(const std::vector<std::uint32_t>& signal, bool on, std::uint32_t lower,
                       std::uint32_t upper) {
  std::int32_t cycles = 0;
  for (const std::uint32_t x : signal) {
    if (!on && x > upper) on = true, ++cycles;
    if (on && x <= lower) on = false;
  }
  return cycles;
}

RC_GTEST_PROP(Rainflow, AnswersForEveryPairOfThresholdsAtOnce, ()) {
  const std::uint32_t highest = *rc::gen::inRange<std::uint32_t>(2, 9);
  const auto signal =
      *rc::gen::container<std::vector<std::uint32_t>>(rc::gen::inRange<std::uint32_t>(0, highest + 1));
  const bool on = *rc::gen::arbitrary<bool>();
  const std::size_t told = *rc::gen::inRange<std::size_t>(0, signal.size() + 1);
  // One by one, or several at once: every second number of a row.
  const std::size_t at_once = *rc::gen::inRange<std::size_t>(0, 20);
  std::vector<std::uint16_t> row;
  for (const std::uint32_t x : signal) row.insert(row.end(), {static_cast<std::uint16_t>(x), 0});
  PairCounts counts = PairCounts::any(highest);
  std::vector<std::int32_t> room(counts.size());
  counts.counts = room;
  Rainflow rainflow(highest, on ? highest : 0, counts);
  const auto add = [&](std::size_t from, std::size_t to) {
    if (at_once == 0)
      for (; from < to; ++from) rainflow.add(signal[from]);
    for (; from < to; from += std::min(at_once, to - from))
      rainflow.add(&row[2 * from], 2, std::min(at_once, to - from));
  };
  add(0, told);
  rainflow.forget();
  add(told, signal.size());
  rainflow.finish();
  const std::vector<std::uint32_t> before(signal.begin(), signal.begin() + static_cast<std::ptrdiff_t>(told));
  for (std::uint32_t lower = 0; lower < highest; ++lower)
    for (std::uint32_t upper = lower; upper < highest; ++upper) {
      std::int32_t pairs = 0;
      for (std::uint32_t valley = 0; valley <= lower; ++valley)
        for (std::uint32_t peak = upper + 1; peak <= highest; ++peak)
          pairs += rainflow.pairs().of(valley, peak);
      RC_ASSERT(pairs == cycles_of(signal, on, lower, upper) - cycles_of(before, on, lower, upper));
    }
}

// Also of a lamp that was on before, and stays on where the deadband is narrow.
RC_GTEST_PROP(FlickerTally, CountsWhatEachTriggerDid, ()) {
  FlickerSetup setup;
  setup.step_rpm = 1;
  setup.widest_rpm = 4;
  setup.reach_rpm = 2;
  setup.places_rpm = {3000};
  FlickerTally tally(setup);
  const auto highest = static_cast<std::uint32_t>(tally.levels());
  const auto signal =
      *rc::gen::container<std::vector<std::uint32_t>>(rc::gen::inRange<std::uint32_t>(0, highest + 1));
  const auto told = static_cast<std::ptrdiff_t>(*rc::gen::inRange<std::size_t>(0, signal.size() + 1));
  const bool on = *rc::gen::arbitrary<bool>();
  PairCounts pairs = PairCounts::any(highest);
  std::vector<std::int32_t> room(pairs.size());
  pairs.counts = room;
  Rainflow rainflow(highest, on ? highest : 0, pairs);
  const std::vector<std::uint32_t> before(signal.begin(), signal.begin() + told);
  for (const std::uint32_t x : before) rainflow.add(x);
  rainflow.forget();
  for (auto x = signal.begin() + told; x != signal.end(); ++x) rainflow.add(*x);
  rainflow.finish();
  tally.add_train(0, 0, pairs, 1);
  for (std::uint32_t width = 0; width <= 4; ++width)
    for (std::uint32_t lower = 0; lower + width < highest; ++lower) {
      const double middle = lower + width / 2.0;
      const double off = static_cast<double>(tally.half()) - middle;
      if (std::abs(off) > setup.reach_rpm) continue;
      const std::int32_t cycles =
          cycles_of(signal, on, lower, lower + width) - cycles_of(before, on, lower, lower + width);
      RC_ASSERT(tally.held(0, width, off).cycles == cycles);
    }
}

// A band that is left out, readings that come back to it, levels next to it.
RC_GTEST_PROP(SideRuns, GiveATrainTheSameCyclesAsAllReadings, ()) {
  const auto band = *rc::gen::inRange<std::uint16_t>(1, 4);  // levels on either side of the middle
  const std::uint32_t half = 6, highest = 2 * half + 1;
  const auto readings =
      *rc::gen::container<std::vector<std::uint16_t>>(rc::gen::inRange<std::uint16_t>(0, highest + 1));
  const std::size_t told = *rc::gen::inRange<std::size_t>(0, readings.size() + 1);
  const auto lane = *rc::gen::inRange<std::size_t>(0, flicker::lanes);
  flicker::SideRuns runs(half, highest);
  PairCounts pairs = PairCounts::outside(half - band + 1, half + band, highest);
  std::vector<std::vector<std::int32_t>> room(flicker::lanes, std::vector<std::int32_t>(pairs.size()));
  std::vector<Rainflow> trains;
  for (std::size_t l = 0; l < flicker::lanes; ++l) {
    pairs.counts = room[l];
    trains.emplace_back(highest, flicker::SideRuns::starts_high(l) ? highest : 0, pairs);
  }
  const auto outside = [&](std::uint16_t x) { return x <= half - band || x > half + band; };
  for (std::size_t i = 0; i <= readings.size(); ++i) {
    if (i == told) {
      runs.hand_over(trains);
      trains[lane].forget();
    }
    if (i == readings.size()) break;
    if (outside(readings[i])) runs.add(lane, readings[i]);
    runs.make_room(trains);
  }
  runs.hand_over(trains);
  trains[lane].finish();
  const bool on = flicker::SideRuns::starts_high(lane);
  const std::vector<std::uint32_t> all(readings.begin(), readings.end());
  const std::vector<std::uint32_t> before(all.begin(), all.begin() + static_cast<std::ptrdiff_t>(told));
  for (std::uint32_t lower = 0; lower <= half - band; ++lower)
    for (std::uint32_t upper = half + band; upper < highest; ++upper) {
      std::int32_t cycles = 0;
      for (std::uint32_t valley = 0; valley <= lower; ++valley)
        for (std::uint32_t peak = upper + 1; peak <= highest; ++peak)
          cycles += trains[lane].pairs().of(valley, peak);
      RC_ASSERT(cycles == cycles_of(all, on, lower, upper) - cycles_of(before, on, lower, upper));
    }
}

}  // namespace
}  // namespace tachproof
