// When within frames a lamp changed.
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "core/camera/change_dating.h"

namespace tachproof {
namespace {

constexpr Nanos open_for = 400;  // of a period of 1000
LampSight dark_at(Nanos at) { return {at, 0, 0, true, false}; }
LampSight lit_at(Nanos at, double light, double open = 1) { return {at, light, open, false, true}; }
DatedSpan comes_on(const std::vector<LampSight>& sights, double open = 1,
                   const ExposureBounds& exposure = {open_for, open_for}) {
  return date_change(true, sights, 1, open, exposure, {-2000, 5000});
}

TEST(ChangeDating, AFullyLitFrameWasExposedAfterTheLampCameOnAndADarkOneBefore) {
  const DatedSpan span = comes_on({dark_at(1000), lit_at(2000, 1)});
  EXPECT_NEAR(static_cast<double>(span.after), 1152,
              1);  // 0.12 of the exposure may have been lit and not be seen
  EXPECT_NEAR(static_cast<double>(span.before), 1848, 1);
  // Not stated: anything up to a period.
  const DatedSpan unknown = comes_on({dark_at(1000), lit_at(2000, 1)}, 1, {0, 1000});
  EXPECT_NEAR(static_cast<double>(unknown.after), 1000, 1);
  EXPECT_NEAR(static_cast<double>(unknown.before), 2000, 1);
}

TEST(ChangeDating, AFrameThatIsHalfLitHoldsTheChangeAndSaysWhere) {
  const DatedSpan half = comes_on({dark_at(1000), lit_at(2000, 0.5), lit_at(3000, 1)});
  EXPECT_NEAR(static_cast<double>(half.after), 2000 - 48, 1);
  EXPECT_NEAR(static_cast<double>(half.before), 2000 + 48, 1);
  // Where the lamp fills the sensor, most of the light comes soon.
  const DatedSpan clipped = comes_on({dark_at(1000), lit_at(2000, 0.5, 0.5), lit_at(3000, 1, 0.5)}, 0.5);
  EXPECT_NEAR(static_cast<double>(clipped.after), 2000 - 48, 1);
  EXPECT_NEAR(static_cast<double>(clipped.before), 2000 + 200, 1);
  // A little ripple is no change in the exposure.
  const DatedSpan ripple = comes_on({dark_at(1000), lit_at(2000, 0.8), lit_at(3000, 1)});
  EXPECT_NEAR(static_cast<double>(ripple.after), 1152, 1);
}

TEST(ChangeDating, GoingOffIsTheSameWithTimeRunBackwards) {
  const std::vector<LampSight> sights{lit_at(1000, 1), lit_at(2000, 0.35), dark_at(3000)};
  const DatedSpan off = date_change(false, sights, 1, 1, {open_for, open_for}, {-2000, 5000});
  // The exposure began at 1800; 0.23 to 0.47 of it was lit.
  EXPECT_NEAR(static_cast<double>(off.after), 1892, 1);
  EXPECT_NEAR(static_cast<double>(off.before), 1988, 1);
}

RC_GTEST_PROP(ChangeDating, TheSpanHoldsTheInstantWhateverTheExposureAndTheSensor, ()) {
  const double exposure = *rc::gen::inRange(50, 1000), brightness = *rc::gen::inRange(10, 50) / 10.0;
  const double at = *rc::gen::inRange(2000, 4000);
  const bool on = *rc::gen::arbitrary<bool>(), stated = *rc::gen::arbitrary<bool>();
  // Half of the light comes from pixels that fill the sensor, if the lamp is as bright as that.
  const auto light = [&](double share) { return 0.5 * share + 0.5 * std::min(1.0, brightness * share); };
  std::vector<LampSight> sights;
  for (Nanos t = 1000; t <= 5000; t += 1000) {
    const double lit = std::clamp((static_cast<double>(t) + exposure / 2 - at) / exposure, 0.0, 1.0);
    const double seen = light(on ? lit : 1 - lit);
    sights.push_back({t, seen, brightness > 1 ? 0.5 : 1, seen < 0.15, seen >= 0.3});
  }
  const ExposureBounds bounds =
      stated ? ExposureBounds{static_cast<Nanos>(0.9 * exposure), static_cast<Nanos>(1.1 * exposure)}
             : ExposureBounds{0, 1000};
  const DatedSpan span = date_change(on, sights, 1, brightness > 1 ? 0.5 : 1, bounds, {0, 6000});
  RC_ASSERT(static_cast<double>(span.after) <= at + 1);
  RC_ASSERT(at - 1 <= static_cast<double>(span.before));
  RC_ASSERT(span.before - span.after <= 2000);
}

}  // namespace
}  // namespace tachproof
