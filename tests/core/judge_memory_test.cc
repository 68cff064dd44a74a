// The judge holds what may still be asked for, and no more, however long a recording is.
#include <gtest/gtest.h>
#include <malloc.h>

#include "core/judge/judge.h"
#include "tests/core/gauges.h"

namespace tachproof {
namespace {

// Bytes that are in use, by the C library's own count.
std::size_t in_use() { return mallinfo2().uordblks; }

class JudgeMemory : public testing::Test {
 protected:
  void SetUp() override {
#ifdef __SANITIZE_ADDRESS__
    GTEST_SKIP() << "the sanitizer has an allocator of its own";
#endif
  }

  // An engine held at `rpm`, read at each of its pulses, as a recording has it.
  std::size_t grows_by(double rpm, std::optional<Nanos> disturbed_until) {
    const Gauge gauge = test::small_gauge();
    JudgeSetup setup;
    setup.before = ExpectationOptions::Before::unknown;
    Judge judge(gauge, setup);
    if (disturbed_until) judge.disturbed(0, *disturbed_until);
    const double pulse_s = 0.0125;
    std::size_t before = 0;
    for (int i = 0; i < 400'000; ++i) {
      const Nanos at = from_seconds(i * pulse_s);
      judge.rpm({Segment::Shape::constant, {at, 0}, pulse_s, rpm});
      if (i == 0) {
        const LampEvent lit{0, gauge.windows[1].cue.steady};
        judge.lamps({&lit, 1});
      }
      judge.seen_until(at);
      if (i == 2'000) before = in_use();
    }
    return in_use() - before;
  }
};

TEST_F(JudgeMemory, OfAHoldIsThatOfItsLastSeconds) { EXPECT_LT(grows_by(4000, std::nullopt), 100'000U); }

// A recording that crosses nothing is forgiven from end to end.
TEST_F(JudgeMemory, OfWhatIsForgivenTooWhereEveryBoundaryStaysOpen) {
  EXPECT_LT(grows_by(4000, 6'000 * ns_per_s), 100'000U);
}

}  // namespace
}  // namespace tachproof
