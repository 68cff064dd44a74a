#include "bench/rigs/board/clock_calibration.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>

#include "bench/rigs/rig.h"

namespace tachproof {
namespace {

constexpr double ticks_per_s = 2e6;

// A reference of `hz` as a board that is `fast_ppm` fast stamps it, each stamp
// late by something within 17 us.
ReferencePulses seen_by_board(double fast_ppm, double hz, double lasts_s, unsigned seed = 1) {
  ReferencePulses seen;
  seen.from = 5'000'000;
  seen.until = seen.from + static_cast<LinkTicks>(lasts_s * ticks_per_s);
  seen.stamp_spread = 17 * ns_per_us;
  for (double n = 0.3;; ++n) {
    seed = seed * 1664525 + 1013904223;  // Numerical Recipes' quick generator
    const double late = seed >> 16 & 0x1f ? 0 : static_cast<double>(seed >> 8 & 0xf);
    const double at = n / hz * (1 + fast_ppm * 1e-6) * ticks_per_s + late;
    if (at > lasts_s * ticks_per_s) return seen;
    seen.rising.push_back(seen.from + static_cast<LinkTicks>(std::llround(at)));
  }
}

std::string refusal(const ReferencePulses& seen, double hz) {
  try {
    const Calibration found = calibrate(seen, {hz, 0});
    return "found " + std::to_string(found.fast_ppm);
  } catch (const RigError& e) {
    return e.what();
  }
}

RC_GTEST_PROP(Calibration, FindsTheClockWithinItsUncertainty, (unsigned seed)) {
  const double fast = *rc::gen::inRange(-4000, 4001) * 0.1;
  const double hz = *rc::gen::element(0.5, 1.0, 10.0, 1000.0);
  const Calibration found = calibrate(seen_by_board(fast, hz, 60, seed), {hz, 0});
  RC_ASSERT(std::abs(found.fast_ppm - fast) < 0.3);
  RC_ASSERT(found.uncertainty_ppm > 5.7);  // ten ppm of drift, each place alike: 10 / sqrt(3)
  RC_ASSERT(found.uncertainty_ppm < 6);
}

TEST(Calibration, TakesTheReferencesOwnErrorIntoAccount) {
  // 100 / sqrt(3) beside 10 / sqrt(3): GUM 4.3.7 and 5.1.2.
  EXPECT_NEAR(calibrate(seen_by_board(20, 1, 60), {1, 100}).uncertainty_ppm, 58.02, 0.05);
}

TEST(Calibration, RefusesWhenAPulseIsMissingWhereverItIs) {
  const ReferencePulses all = seen_by_board(20, 1, 30);
  ASSERT_EQ(all.rising.size(), 30u);
  // Nobody can tell that there was one before the first.
  for (std::size_t i = 1; i < all.rising.size(); ++i) {
    ReferencePulses seen = all;
    seen.rising.erase(seen.rising.begin() + static_cast<std::ptrdiff_t>(i));
    EXPECT_EQ(
        refusal(seen, 1),
        "calibrating the board's clock: 29 pulses of the reference were seen in 30.0 s, and 1 Hz make 30: 1 "
        "missing, 0 too many, 0 out of time. Check --hz, the reference and its wire; nothing is corrected");
  }
}

RC_GTEST_PROP(Calibration, RefusesAnExtraPulseWhereverItIs, ()) {
  ReferencePulses seen = seen_by_board(20, 1, 30);
  const auto at = *rc::gen::inRange(seen.rising.front() + 1, seen.rising.back());
  const auto place = std::upper_bound(seen.rising.begin(), seen.rising.end(), at);
  seen.rising.insert(place, at);
  RC_ASSERT(refusal(seen, 1).find("found") == std::string::npos);
}

RC_GTEST_PROP(Calibration, NeverCorrectsWronglyWhateverIsMissingOrExtra, ()) {
  ReferencePulses seen = seen_by_board(20, 10, 20);
  const int edits = *rc::gen::inRange(1, 20);
  for (int i = 0; i < edits; ++i) {
    const auto place = *rc::gen::inRange<std::size_t>(0, seen.rising.size());
    if (*rc::gen::inRange(0, 2) == 0)
      seen.rising.erase(seen.rising.begin() + static_cast<std::ptrdiff_t>(place));
    else
      seen.rising.insert(seen.rising.begin() + static_cast<std::ptrdiff_t>(place), seen.rising[place]);
  }
  try {
    RC_ASSERT(std::abs(calibrate(seen, {10, 0}).fast_ppm - 20) < 1);
  } catch (const RigError&) {
  }
}

TEST(Calibration, SaysWhatItSawOfAReferenceThatIsNotThere) {
  ReferencePulses seen = seen_by_board(0, 1, 60);
  seen.rising.clear();
  EXPECT_EQ(
      refusal(seen, 1),
      "calibrating the board's clock: 0 pulses of the reference were seen in 60.0 s, and 1 Hz make 60: 60 "
      "missing, 0 too many, 0 out of time. Check --hz, the reference and its wire; nothing is corrected");
}

TEST(Calibration, RefusesAnotherFrequencyThanWasSaid) {
  EXPECT_EQ(
      refusal(seen_by_board(0, 60, 20), 50),
      "calibrating the board's clock: 1200 pulses of the reference were seen in 20.0 s, and 50 Hz make 1000: "
      "0 missing, 0 too many, 1199 out of time. Check --hz, the reference and its wire; nothing is "
      "corrected");
  EXPECT_EQ(
      refusal(seen_by_board(0, 100.2, 20), 100),
      "calibrating the board's clock: the clock would be -1996 ppm off, and no crystal is off by more than "
      "500: check that the reference has 100 Hz; nothing is corrected");
}

TEST(Calibration, RefusesAReferenceThatIsUnsteadyOrTooShortOrPoorlySeen) {
  ReferencePulses seen = seen_by_board(0, 1, 60);
  seen.rising[30] += 500;
  EXPECT_THAT(refusal(seen, 1),
              ::testing::HasSubstr("us out of time: check the reference and its wire; nothing is corrected"));
  EXPECT_EQ(refusal(seen_by_board(0, 1, 9), 1),
            "calibrating the board's clock: 9 pulses over 8.0 s are too few: watch for longer (--for); "
            "nothing is corrected");
  seen = seen_by_board(0, 1, 60);
  seen.lost = 2;
  EXPECT_EQ(refusal(seen, 1),
            "calibrating the board's clock: the board had no room for the stamps of 2 pulses: use a slower "
            "reference; nothing is corrected");
}

RC_GTEST_PROP(ClockSetting, CorrectsThereAndBack, ()) {
  const ClockSetting clock{*rc::gen::inRange(-500, 501) * 1.0, 1, ""};
  const Nanos t = *rc::gen::inRange<Nanos>(0, 86'400 * ns_per_s);
  const Nanos board = board_time(clock, t);
  RC_ASSERT(std::abs(static_cast<double>(board - t) - static_cast<double>(t) * clock.fast_ppm * 1e-6) <= 1);
  RC_ASSERT(std::abs(true_time(clock, board) - t) <= 1);
}

}  // namespace
}  // namespace tachproof
