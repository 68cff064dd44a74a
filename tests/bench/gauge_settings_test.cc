// Buttons, power-up and supply of a gauge: as they come out of its file, and through the two ways of
// writing a gauge, a gauge file and the record of a run.
#include <gmock/gmock.h>
#include <rapidcheck/gtest.h>

#include <nlohmann/json.hpp>

#include "bench/files/gauge_writer.h"
#include "bench/files/readers.h"
#include "bench/record/gauge_json.h"
#include "core/gauge/settings_change.h"
#include "tests/bench/files_cases.h"

namespace tachproof {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;

Gauge with_buttons() { return load_gauge(source_path("fixtures/gauges/drumlin-buttons.yaml")); }

// As above, with plain windows for the count-in, whose names no other window of a file may have.
Gauge without_count_in() {
  Gauge gauge = with_buttons();
  for (Window& window : gauge.windows)
    if (window.name.starts_with("count-in-")) window.name = "rise" + window.name.substr(8);
  return gauge;
}

Gauge read_text(const std::string& text) {
  ErrorList errors("gauge.yaml");
  const std::optional<YamlTree> tree = parse_yaml(text, errors);
  Gauge gauge = tree ? read_gauge(*tree->root, errors) : Gauge{};
  errors.throw_if_any();
  return gauge;
}

Gauge through_json(const Gauge& gauge) {
  return settings_from_json(nlohmann::ordered_json::parse(settings_to_json(gauge).dump()));
}

std::vector<std::string> differences(const Gauge& before, const Gauge& after) {
  return sentences(settings_change(before, after));
}

TEST(GaugeButtons, OfTheDrumlinComeOutOfItsFile) {
  const Gauge g = with_buttons();
  ASSERT_EQ(g.buttons.size(), 3U);
  EXPECT_EQ(g.buttons[0].name, "set");
  const auto& take = std::get<TakeRpm>(g.buttons[0].does);
  EXPECT_EQ(g.windows.at(take.boundary).name, "beyond");
  EXPECT_EQ(take.lowest_rpm, 2500);
  EXPECT_EQ(take.highest_rpm, 5500);
  EXPECT_EQ(g.buttons[1].name, "high");
  EXPECT_EQ(std::get<ShowPeak>(g.buttons[1].does).lasts, 4 * ns_per_s);
  EXPECT_EQ(g.buttons[2].name, "glow");
  EXPECT_THAT(std::get<Dim>(g.buttons[2].does).levels, ElementsAre(1, 0.55, 0.25, 0.1));
  ASSERT_TRUE(g.power_up && g.power_up->greets && g.supply);
  EXPECT_EQ(g.power_up->boot_from, 200 * ns_per_ms);
  EXPECT_EQ(g.power_up->boot_to, 1500 * ns_per_ms);
  EXPECT_EQ(g.describe(g.power_up->greets->cue), "left white, mid blue");
  EXPECT_EQ(g.power_up->greets->lasts, 600 * ns_per_ms);
  EXPECT_THAT(g.power_up->keeps, ElementsAre("set"));
  EXPECT_EQ(g.supply->lowest_v, 9);
  EXPECT_EQ(g.supply->highest_v, 16);
}

TEST(GaugeButtons, AreAllThatTheTwoDrumlinsDifferIn) {
  Gauge plain = load_gauge(source_path("fixtures/gauges/drumlin.yaml"));
  Gauge g = with_buttons();
  g.name = plain.name;
  EXPECT_THAT(
      differences(plain, g),
      ElementsAre("button set is new: it takes the rpm for beyond, from 2500 to 5500 rpm",
                  "button high is new: it shows the peak for 4.00 s",
                  "button glow is new: it dims the lamps to 100, 55, 25, 10 %",
                  "what the unit does when its supply comes back is new: it boots in 200 to 1500 ms",
                  "the unit greets with left white, mid blue for 600.0 ms when it wakes, where it did "
                  "not greet",
                  "what button set did now survives a loss of power",
                  "what the unit may be fed is new: 9 to 16 V", "everything else unchanged"));
}

TEST(GaugeButtons, AreTheSameAfterTheRecordOfARun) {
  EXPECT_THAT(differences(with_buttons(), through_json(with_buttons())), IsEmpty());
}

TEST(GaugeButtons, AreTheSameAfterAGaugeFileIsWritten) {
  const Gauge g = without_count_in();
  EXPECT_THAT(differences(g, read_text(gauge_yaml(g))), IsEmpty());
}

TEST(GaugeButtons, LeaveNoKeysInTheRecordOfAGaugeThatHasNone) {
  const auto json = settings_to_json(load_gauge(source_path("fixtures/gauges/drumlin.yaml")));
  for (const char* key : {"buttons", "power_up", "supply"}) EXPECT_FALSE(json.contains(key)) << key;
}

// A gauge with random buttons, and with a power-up or a supply or without.
Gauge random_buttons() {
  Gauge g = without_count_in();
  g.buttons.clear();
  const int buttons = *rc::gen::inRange(0, 6);
  for (int i = 0; i < buttons; ++i) {
    Button button{"b" + std::to_string(i), {}};
    const int does = *rc::gen::inRange(0, 3);
    if (does == 0) {
      const double low = *rc::gen::inRange(1000, 4000);
      button.does = TakeRpm{*rc::gen::inRange<std::size_t>(1, 4), low, low + *rc::gen::inRange(1, 2000)};
    } else if (does == 1) {
      button.does = ShowPeak{*rc::gen::inRange<Nanos>(1, 60'000) * ns_per_ms};
    } else {
      Dim dim;
      for (const int level : *rc::gen::unique<std::vector<int>>(4, rc::gen::inRange(1, 1001)))
        dim.levels.push_back(level / 10.0 / 100);
      button.does = dim;
    }
    g.buttons.push_back(button);
  }
  if (!*rc::gen::arbitrary<bool>()) g.supply.reset();
  g.power_up.reset();
  if (!*rc::gen::arbitrary<bool>()) return g;
  const Nanos from = *rc::gen::inRange<Nanos>(0, 30'000'000) * ns_per_us;
  g.power_up = PowerUp{from, from + *rc::gen::inRange<Nanos>(0, 30'000'000) * ns_per_us};
  const Channels lit = *rc::gen::element(Channels{1}, Channels{2}, Channels{4});
  if (*rc::gen::arbitrary<bool>())
    g.power_up->greets = Greeting{*rc::gen::arbitrary<bool>() ? Cue{lit, 0} : Cue{0, lit},
                                  *rc::gen::inRange<Nanos>(1, 60'000) * ns_per_ms};
  for (const Button& button : g.buttons)
    if (*rc::gen::arbitrary<bool>()) g.power_up->keeps.push_back(button.name);
  return g;
}

RC_GTEST_PROP(GaugeButtons, OfAnySoundGaugeComeBackAsTheyWere, ()) {
  const Gauge g = random_buttons();
  RC_PRE(problems_of(g).empty());
  for (const Gauge& back : {through_json(g), read_text(gauge_yaml(g))}) {
    RC_ASSERT(differences(g, back).empty());
    // The order of buttons, and what sentences have no word for.
    RC_ASSERT(settings_to_json(back)["buttons"] == settings_to_json(g)["buttons"]);
    RC_ASSERT(settings_to_json(back)["power_up"] == settings_to_json(g)["power_up"]);
  }
}

std::string refusal(const char* place, const nlohmann::ordered_json& value) {
  nlohmann::ordered_json json = settings_to_json(with_buttons());
  json[nlohmann::ordered_json::json_pointer(place)] = value;
  try {
    settings_from_json(json);
  } catch (const std::runtime_error& e) {
    return e.what();
  }
  return "none";
}

TEST(GaugeButtons, OfARecordThatNoFileCanHaveAreRefused) {
  EXPECT_EQ(refusal("/buttons/0/boundary", "nowhere"),
            "a button takes the rpm for a boundary that the gauge does not have");
  EXPECT_EQ(refusal("/buttons/0/does", "sing"), "there is no button that does sing");
  EXPECT_EQ(refusal("/buttons/0/lowest_rpm", nullptr), "lowest_rpm of the gauge is below 0, or not there");
  EXPECT_EQ(refusal("/buttons/0/highest_rpm", 1e9), "highest_rpm is 1e+09, which no run can have");
  EXPECT_EQ(refusal("/buttons/0/boundary", "quiet"),
            "the gauge's buttons[0].boundary is no boundary; allowed: a window that begins above 0 rpm");
  EXPECT_EQ(refusal("/buttons/1/name", "set"),
            "the gauge's buttons[1].name is 'set' again; allowed: a name that no other button has");
  EXPECT_EQ(refusal("/buttons/1/lasts_s", -1), "lasts_s of the gauge is below 0");
  EXPECT_EQ(refusal("/buttons/2/levels/1", 1.5), "a level is 1.5, which no run can have");
  EXPECT_EQ(refusal("/buttons/2/levels/1", nullptr),
            "the gauge's buttons[2].levels[1] is nan %; allowed: above 0, at most 100 % of full light");
  EXPECT_EQ(refusal("/power_up/boot_to_s", 0.1),
            "the gauge's power_up.boot_ms is from 200 to 100 ms; allowed: two times, the shorter first, at "
            "most 60000 ms");
  EXPECT_EQ(refusal("/power_up/greets/steady", nlohmann::ordered_json::array({40})),
            "a cue shows a channel that the gauge does not have");
  EXPECT_EQ(refusal("/power_up/keeps/0", "horn"),
            "the gauge's power_up.keeps[0] is 'horn'; allowed: the name of a button");
  EXPECT_EQ(refusal("/supply/lowest_v", 20),
            "the gauge's supply is from 20 to 16 V; allowed: two voltages above 0, the lower first");
}

// ---- what changes from one gauge to another ----------------------------------

TEST(GaugeButtons, ThatChangeAreSaidAsAPersonWould) {
  const Gauge before = with_buttons();
  Gauge after = before;
  std::get<TakeRpm>(after.buttons[0].does) = {2, 2600, 5500};
  std::get<ShowPeak>(after.buttons[1].does).lasts = 5 * ns_per_s;
  std::get<Dim>(after.buttons[2].does).levels = {1, 0.5};
  after.power_up->boot_to = 2 * ns_per_s;
  after.power_up->greets->cue = {before.channel("top", "magenta"), 0};
  after.power_up->keeps = {"glow"};
  after.supply->lowest_v = 8;
  EXPECT_THAT(
      differences(before, after),
      ElementsAre("time to boot at most 1500 to 2000 ms", "supply at least 9 to 8 V",
                  "button set takes the rpm for on-limit, no longer for beyond",
                  "button set takes 2600 to 5500 rpm, no longer 2500 to 5500 rpm",
                  "button high shows the peak for 5.00 s, no longer for 4.00 s",
                  "button glow dims the lamps to 100, 50 %, no longer to 100, 55, 25, 10 %",
                  "the unit greets with top magenta when it wakes, no longer with left white, mid blue",
                  "what button set did no longer survives a loss of power",
                  "what button glow did now survives a loss of power", "everything else unchanged"));
}

TEST(GaugeButtons, ThatDoSomethingElseAreSaid) {
  const Gauge before = with_buttons();
  Gauge after = before;
  after.buttons[1].does = Dim{{1, 0.5}};
  EXPECT_THAT(
      differences(before, after),
      ElementsAre("button high now dims the lamps to 100, 50 %, and no longer shows the peak for 4.00 s",
                  "everything else unchanged"));
}

TEST(GaugeButtons, ThatGoAreSaid) {
  const Gauge before = with_buttons();
  Gauge after = before;
  after.buttons.erase(after.buttons.begin() + 1);
  after.power_up.reset();
  after.supply.reset();
  EXPECT_THAT(
      differences(before, after),
      ElementsAre("button high is gone", "what the unit does when its supply comes back is no longer stated",
                  "what the unit may be fed is no longer stated", "everything else unchanged"));
}

TEST(GaugeButtons, LeaveRoomForWhatStaysOnTheRpmScale) {
  const Gauge before = with_buttons();
  Gauge after = with_boundary_at(before, 3, 3780);
  std::get<TakeRpm>(after.buttons[0].does).highest_rpm = 6000;
  EXPECT_EQ(differences(before, after).back(),
            "apart from buttons and power, everything above 4200 rpm unchanged");
}

TEST(GaugeButtons, OfARenamedWindowAreTheSame) {
  const Gauge before = with_buttons();
  Gauge after = before;
  after.windows[3].name = "past";
  EXPECT_THAT(differences(before, after),
              ElementsAre("window beyond is now called past", "everything else unchanged"));
}

}  // namespace
}  // namespace tachproof
