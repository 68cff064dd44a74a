#include "core/judge/fit_memo.h"

#include <gtest/gtest.h>

namespace tachproof {
namespace {

// Ramps at these rates past 5000 rpm, seen 30 ms later; `off` moves the threshold.
std::vector<Visit> ramps(double off) {
  std::vector<Visit> all;
  for (const double rate : {10.0, 12.0, 60.0, 100.0})
    for (const double early_s : {0.001, -0.002}) {
      Visit visit;
      visit.boundary = 1;
      visit.spacing_s = 0.005;
      visit.timing_s = 1e-6;
      for (std::size_t k = 0; k < Visit::samples; ++k)
        visit.rpm_before[k] =
            5000 + off + rate * (0.030 - early_s) - rate * visit.spacing_s * static_cast<double>(k);
      all.push_back(visit);
    }
  return all;
}

FitSetup usual() {
  FitSetup how;
  how.response_to_s = 0.12;
  how.pulses_per_rev = 3;
  return how;
}

TEST(FitMemo, MakesAFitOnceAndItIsTheSame) {
  FitMemo memo;
  const double first = memo.fits(ramps(1), 1, usual()).fits[2].threshold_rpm;
  EXPECT_EQ(first, fit_thresholds(ramps(1), 1, usual()).fits[2].threshold_rpm);
  EXPECT_EQ(memo.fits(ramps(1), 1, usual()).fits[2].threshold_rpm, first);
  EXPECT_EQ(memo.made(), 1U);
}

// Only what is the same to the last bit is taken for the same.
TEST(FitMemo, KeepsApartWhatDiffersInAnything) {
  FitMemo memo;
  const double first = memo.fits(ramps(1), 1, usual()).fits[2].threshold_rpm;
  EXPECT_NE(memo.fits(ramps(2), 1, usual()).fits[2].threshold_rpm, first);
  std::vector<Visit> other = ramps(1);
  other[3].rpm_before[7] += 1e-6;
  memo.fits(other, 1, usual());
  FitSetup slower = usual();
  slower.response_to_s = 0.2;
  memo.fits(ramps(1), 1, slower);
  memo.fits(ramps(1), 2, usual());
  EXPECT_EQ(memo.made(), 5U);
}

}  // namespace
}  // namespace tachproof
