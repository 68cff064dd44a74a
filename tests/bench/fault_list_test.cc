// The fault list of gauge files and of gauges that nobody designed.
#include "core/cause/fault_list.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <map>
#include <set>

#include "bench/files/files.h"
#include "bench/run/fault_trials.h"
#include "core/cause/shown.h"
#include "tests/bench/random_gauge.h"

namespace tachproof {
namespace {

using Kind = Fault::Kind;

Gauge drumlin() {
  return load_gauge(std::filesystem::path(TACHPROOF_SOURCE_DIR) / "fixtures/gauges/drumlin.yaml");
}

TEST(GaugeFile, WindowsKnowTheAnchorThatTheyHangFrom) {
  const Gauge g = drumlin();
  EXPECT_EQ(g.windows[0].anchor, "");
  EXPECT_EQ(g.windows[2].anchor, "pit");
  EXPECT_EQ(g.windows[5].anchor, "shift");  // count-in-1
  EXPECT_EQ(count_ins(g), (std::vector<std::pair<std::size_t, std::size_t>>{{5, 8}}));
}

TEST(FaultList, OfTheDrumlinHasEveryKindThatIssuesFromItsSettings) {
  const Gauge g = drumlin();
  std::map<Kind, int> counts;
  for (const ListedFault& fault : fault_list(g).faults) ++counts[fault.fault.kind];
  EXPECT_EQ(counts[Kind::boundary_moved], 18);  // nine, up and down
  EXPECT_EQ(counts[Kind::anchor_moved], 4);
  EXPECT_EQ(counts[Kind::count_in_span], 2);
  EXPECT_EQ(counts[Kind::count_in_uneven], 0);  // the same as a moved boundary
  EXPECT_EQ(counts[Kind::deadband_missing], 1);
  EXPECT_EQ(counts[Kind::deadband_width], 2);
  EXPECT_EQ(counts[Kind::deadband_side], 2);
  EXPECT_EQ(counts[Kind::wrong_pulses_per_rev], 4);
  EXPECT_EQ(counts[Kind::blink_rate], 2);
  EXPECT_EQ(counts[Kind::blink_duty], 2);
  EXPECT_EQ(counts[Kind::freeze], 10);
  EXPECT_EQ(counts[Kind::slow_response], 1);
  EXPECT_GT(counts[Kind::wrong_colour], 5);
  EXPECT_GT(counts[Kind::wires_swapped], 10);
  EXPECT_GT(counts[Kind::cues_swapped], 20);
}

// No supply and no signal look alike: the Drumlin is dark when nothing turns.
TEST(FaultList, OfTheDrumlinCannotTellNoSupplyFromNoSignal) {
  const FaultList list = fault_list(drumlin());
  for (const ListedFault& fault : list.faults)
    if (fault.fault.kind == Kind::no_power) {
      ASSERT_EQ(fault.same_as.size(), 1u);
      EXPECT_EQ(fault.same_as[0].kind, Kind::no_signal);
      return;
    }
  FAIL();
}

TEST(FaultList, OfRandomGaugesHasNothingTwiceAndNothingThatCannotBeSeen) {
  for (std::uint64_t number = 0; number < 100; ++number) {
    SCOPED_TRACE(number);
    Dice dice(20, number);
    const Gauge g = random_gauge(dice);
    const FaultList list = fault_list(g);
    std::set<std::string> keys{shown_by(g).key()};
    for (const ListedFault& listed : list.faults) {
      EXPECT_NE(describe(listed.fault, g), "");
      if (!is_change_of_settings(listed.fault.kind) || listed.fault.kind == Kind::slow_response ||
          listed.fault.kind == Kind::slow_filter)
        continue;
      const Gauge changed = with_fault(g, listed.fault);
      EXPECT_TRUE(keys.insert(shown_by(changed).key()).second) << describe(listed.fault, g);
      EXPECT_FALSE(within_tolerance(shown_by(g), shown_by(changed), g.tolerance));
      for (const Fault& same : listed.same_as)
        EXPECT_TRUE(show_the_same(changed, with_fault(g, same))) << describe(same, g);
      EXPECT_EQ(listed.by(graded_tolerances), listed.fault);
    }
  }
}

// What the simulated unit's catalogue and the changed settings make of a fault shows the same.
TEST(FaultList, FaultsOfTheCatalogueAreTakenByTheSimulatedUnit) {
  const Gauge g = drumlin();
  for (const ListedFault& listed : fault_list(g).faults) {
    Fault fault = listed.fault;
    if (fault.kind == Kind::freeze || fault.kind == Kind::reset) fault.size = 1;
    const std::optional<FaultSetting> setting = setting_of(fault, g);
    if (!setting) continue;
    Behaviour behaviour;
    behaviour.faults = {*setting};
    const std::string words = describe(fault, g);
    EXPECT_NO_THROW(
        FaultTrials(g, {"none", Profile(std::vector<Step>{Hold{100, ns_per_ms}}), {}, 0, {}}, RigModel{})
            .healthy(behaviour))
        << words;
  }
}

}  // namespace
}  // namespace tachproof
