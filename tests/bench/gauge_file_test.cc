// What gauge files come out as.
#include <gmock/gmock.h>
#include <rapidcheck/gtest.h>

#include <filesystem>
#include <fstream>
#include <iomanip>
#include <locale>
#include <sstream>

#include "bench/files/gauge_writer.h"
#include "bench/files/readers.h"
#include "tests/bench/files_cases.h"

namespace tachproof {
namespace {

Gauge gauge_of(const std::string& text) {
  ErrorList errors("gauge.yaml");
  const std::optional<YamlTree> tree = parse_yaml(text, errors);
  if (!tree) throw FileErrors(errors.sorted());
  Gauge gauge = read_gauge(*tree->root, errors);
  errors.throw_if_any();
  return gauge;
}

std::string shown(const Gauge& gauge) {
  std::ostringstream text;
  for (const Window& w : gauge.windows)
    text << w.name << " " << w.from_rpm << " " << gauge.describe(w.cue) << "\n";
  return text.str();
}

TEST(GaugeFile, OfTheDrumlinComesOutWithAnchorsResolvedAndItsCountInUnrolled) {
  const Gauge g = load_gauge(source_path("fixtures/gauges/drumlin.yaml"));
  EXPECT_EQ(g.name, "Drumlin four-lamp gauge");
  EXPECT_EQ(g.pulses_per_rev, 3);
  EXPECT_EQ(shown(g),
            "quiet 0 dark\n"
            "closing 3460 left white\n"
            "on-limit 3610 left blue, mid blue\n"
            "beyond 3720 mid magenta, right magenta\n"
            "running 4140 dark\n"
            "count-in-1 7000 left white\n"
            "count-in-2 7200 left white, right white\n"
            "count-in-3 7400 left white, mid blue, right white\n"
            "shift 7600 left white, right white, top magenta\n"
            "over-rev 7950 top magenta blinking\n");
  EXPECT_EQ(g.deadband.rpm, 7);
  EXPECT_EQ(g.deadband.sits, Sits::below);
  ASSERT_TRUE(g.blink);
  EXPECT_EQ(g.blink->hz, 4);
  EXPECT_EQ(g.blink->duty, 0.5);
  EXPECT_EQ(g.tolerance.rpm, 3);
  EXPECT_EQ(g.tolerance.response_from, 0);
  EXPECT_EQ(g.tolerance.response_to, 120 * ns_per_ms);
  EXPECT_EQ(g.tolerance.settle, 10 * ns_per_ms);
  EXPECT_EQ(g.tolerance.signal_lost, ns_per_s);
}

// drive: gear 2.05, final drive 3.1, 1.98 m; 60 km/h is 3209.6 rpm, 6 km/h 320.96 rpm, 2 km/h 106.98
// rpm and 8 km/h 427.9 rpm, each rounded down to 10 rpm.
TEST(GaugeFile, OfTheTarnComesOutInRpmWithItsSpeedsBeside) {
  const Gauge g = load_gauge(source_path("fixtures/gauges/tarn.yaml"));
  EXPECT_THAT(shown(g),
              testing::StartsWith("clear 0 dark\nnearing 2870 near-side cyan\n"
                                  "held 3090 near-side cyan, off-side cyan\n"
                                  "above 3200 near-side violet, off-side violet\naway 3620 dark\n"));
  ASSERT_TRUE(g.drive);
  EXPECT_EQ(g.drive->said_in, SpeedUnit::kmh);
  EXPECT_EQ(g.resolution_rpm, 10);
  ASSERT_NE(g.speed_of_anchor("lane"), nullptr);
  EXPECT_EQ(g.speed_of_anchor("lane")->written, "60km/h");
  EXPECT_EQ(g.speed_of_anchor("change"), nullptr);
  ASSERT_NE(g.speed_of_window(4), nullptr);
  EXPECT_EQ(g.speed_of_window(4)->written, "+8km/h");
  EXPECT_EQ(g.speed_of_window(3), nullptr);
}

TEST(GaugeFile, IsSetInWholeRpmWhereASpeedIsUsedAndNothingElseIsSaid) {
  const Gauge g = gauge_of(case_text("gauge", "Anchors and offsets may be speeds where there is a drive"));
  EXPECT_EQ(g.resolution_rpm, 1);
  EXPECT_EQ(g.anchors.at(0).second, 3209);
  EXPECT_EQ(g.windows.at(1).from_rpm, 3209 - 214);  // 4 km/h are 213.97 rpm
  EXPECT_EQ(g.windows.at(2).from_rpm, 3209 + 172);  // 2 mph are 172.18 rpm
  EXPECT_EQ(gauge_of(case_text("gauge", "The base is sound")).resolution_rpm, 0);
}

TEST(GaugeFile, KeepsItsSpeedsAsAPersonWroteThem) {
  for (const char* title :
       {"Anchors and offsets may be speeds where there is a drive", "A boundary may be a speed",
        "Speeds and lengths may be in quotes", "A drive by a tyre's diameter"}) {
    Gauge g = gauge_of(case_text("gauge", title));
    for (Window& w : g.windows)  // a written gauge has no count-ins
      if (w.name.starts_with("count-in-")) w.name = "step-" + w.name.substr(9);
    const std::string text = gauge_yaml(g);
    const Gauge back = gauge_of(text);
    EXPECT_EQ(gauge_yaml(back), text);
    ASSERT_EQ(back.windows.size(), g.windows.size()) << text;
    for (std::size_t i = 0; i < g.windows.size(); ++i)
      EXPECT_EQ(back.windows[i].from_rpm, g.windows[i].from_rpm);
    EXPECT_EQ(back.anchors, g.anchors);
    EXPECT_EQ(back.anchor_speeds.size(), g.anchor_speeds.size());
    EXPECT_EQ(back.drive->tyre.circumference_m.value, g.drive->tyre.circumference_m.value);
    EXPECT_EQ(back.drive->tyre.circumference_m.standard_uncertainty,
              g.drive->tyre.circumference_m.standard_uncertainty);
    EXPECT_EQ(back.resolution_rpm, g.resolution_rpm);
  }
}

// A boundary that was moved since is no longer where its speed says.
TEST(GaugeFile, WritesAnRpmWhereTheSpeedNoLongerHolds) {
  Gauge g = load_gauge(source_path("fixtures/gauges/tarn.yaml"));
  g.windows.resize(5);
  g.windows[1].from_rpm += 10;
  EXPECT_EQ(gauge_of(gauge_yaml(g)).windows[1].from_rpm, g.windows[1].from_rpm);
  EXPECT_THAT(gauge_yaml(g), testing::Not(testing::HasSubstr("-6km/h")));
  EXPECT_THAT(gauge_yaml(g), testing::HasSubstr("{\"lane\": 60km/h, \"change\": 7400}"));
  g.windows[1].from_rpm = 2876.54;  // as a survey finds it
  EXPECT_EQ(gauge_of(gauge_yaml(g)).windows[1].from_rpm, 2876.54);
}

TEST(GaugeFile, OfTheKamePlacesItsCountInByOffsets) {
  const Gauge g = load_gauge(source_path("fixtures/gauges/kame.yaml"));
  EXPECT_EQ(shown(g),
            "low 0 dark\n"
            "lane-held 4010 rim-2 violet, rim-6 cyan\n"
            "lane-broken 4160 rim-4 violet blinking, rim-8 cyan blinking\n"
            "open 5000 dark\n"
            "count-in-1 8000 rim-1 white, rim-5 white\n"
            "count-in-2 8400 rim-1 white, rim-3 white, rim-5 white, rim-7 white\n"
            "count-in-3 8700 rim-1 white, rim-2 white, rim-3 white, rim-5 white, rim-6 white, rim-7 white\n"
            "count-in-4 8880 rim-1 violet, rim-2 white, rim-3 white, rim-5 cyan, rim-6 white, rim-7 white\n"
            "change 9000 rim-1 violet, rim-3 violet, rim-5 cyan, rim-7 cyan\n"
            "spill 9400 rim-4 white blinking, rim-8 white blinking\n");
}

TEST(GaugeFile, OfTheEskerHasOneLampAndHalfAPulse) {
  const Gauge g = load_gauge(source_path("fixtures/gauges/esker.yaml"));
  EXPECT_EQ(g.pulses_per_rev, 0.5);
  EXPECT_EQ(g.channels(), 1U);
  EXPECT_EQ(g.rising_rpm(1), 4540);  // 4500, and the deadband of 40 above it
  EXPECT_EQ(g.falling_rpm(1), 4500);
}

TEST(GaugeFile, GivesALampThatACountInNamesAgainItsNewColour) {
  const Gauge g = gauge_of(case_text("gauge", "The base is sound"));
  EXPECT_EQ(g.describe(g.windows.at(5).cue), "left blue, mid blue");
}

TEST(GaugeFile, ContinuesTheNumbersOfASecondCountIn) {
  const Gauge g = gauge_of(case_text("gauge", "A count-in may follow another"));
  EXPECT_EQ(shown(g),
            "quiet 0 dark\nclosing 3460 left white\ncount-in-1 3520 left white\ncount-in-2 7000 left white\n"
            "count-in-3 7300 left white, mid blue\nshift 7600 left white, top magenta\n"
            "over-rev 7950 top magenta blinking\n");
}

TEST(GaugeFile, PlacesACountInFromEitherEnd) {
  const Gauge below = gauge_of(case_text("gauge", "Offsets of a count-in below zero count from the anchor"));
  EXPECT_EQ(below.windows.at(3).from_rpm, 7000);
  EXPECT_EQ(below.windows.at(4).from_rpm, 7550);
  const Gauge above =
      gauge_of(case_text("gauge", "Offsets of a count-in from zero on count from the start of the span"));
  EXPECT_EQ(above.windows.at(3).from_rpm, 7000);
  EXPECT_EQ(above.windows.at(4).from_rpm, 7550);
}

// yaml-cpp reads numbers with the global locale (field-notes.md).
TEST(GaugeFile, ReadsTheSameUnderALocaleWithDecimalCommas) {
  struct Commas : std::numpunct<char> {
    char do_decimal_point() const override { return ','; }
    std::string do_grouping() const override { return "\3"; }
    char do_thousands_sep() const override { return '.'; }
  };
  const std::locale before = std::locale::global(std::locale(std::locale::classic(), new Commas));
  const Gauge g = gauge_of(case_text("gauge", "Anchors and blink may be left out when nothing needs them"));
  std::locale::global(before);
  EXPECT_EQ(g.windows.at(2).from_rpm, 3720.5);
}

// ---- a random gauge, written and read back ----------------------------------

rc::Gen<std::string> names() {
  return rc::gen::map(rc::gen::container<std::string>(rc::gen::elementOf(std::string("abcxyzABC019_-."))),
                      [](std::string s) { return "n" + s.substr(0, 20); });
}

Gauge random_gauge() {
  Gauge g;
  g.name = *names();
  g.pulses_per_rev = *rc::gen::inRange(1, 6001) / 100.0;
  const int lamps = *rc::gen::inRange(1, 9);
  for (int i = 0; i < lamps; ++i) {
    Lamp lamp{*names() + std::to_string(i), {}};
    const int colours = *rc::gen::inRange(1, 9);
    for (int k = 0; k < colours; ++k) lamp.colours.push_back(*names() + std::to_string(k));
    g.lamps.push_back(lamp);
  }
  double rpm = 0;
  const int windows = *rc::gen::inRange(1, 12);
  bool blinks = false;
  for (int i = 0; i < windows; ++i) {
    Window w{*names() + std::to_string(i), rpm, {}};
    for (std::size_t lamp = 0; lamp < g.lamps.size(); ++lamp) {
      const int state = *rc::gen::inRange(0, 3);
      const std::string& colour = *rc::gen::elementOf(g.lamps[lamp].colours);
      const Channels bit = g.channel(g.lamps[lamp].id, colour);
      (state == 1 ? w.cue.steady : w.cue.blinking) |= state == 0 ? 0 : bit;
      blinks = blinks || state == 2;
    }
    g.windows.push_back(w);
    rpm += *rc::gen::inRange(101, 15001) / 10.0;
  }
  g.deadband = {*rc::gen::inRange(0, 100) / 10.0, *rc::gen::element(Sits::below, Sits::centred, Sits::above)};
  if (blinks) g.blink = Blink{*rc::gen::inRange(1, 200) / 10.0, *rc::gen::inRange(1, 100) / 100.0};
  g.tolerance.rpm = *rc::gen::inRange(0, 1000) / 10.0;
  g.tolerance.response_from = *rc::gen::inRange(0, 100'000) * ns_per_us;
  g.tolerance.response_to = g.tolerance.response_from + *rc::gen::inRange(0, 100'000) * ns_per_us;
  g.tolerance.settle = *rc::gen::inRange(0, 50) * ns_per_ms;
  g.tolerance.blink_hz = *rc::gen::inRange(0, 20) / 10.0;
  g.tolerance.blink_duty = *rc::gen::inRange(0, 100) / 100.0;
  g.tolerance.signal_lost = *rc::gen::inRange(1, 3000) * ns_per_ms;
  return g;
}

std::string quoted_list(const std::vector<std::string>& words) { return "[" + joined(words) + "]"; }

std::string yaml_of(const Gauge& g) {
  std::ostringstream out;
  out << std::setprecision(17);
  out << "format: 1\nkind: gauge\nname: " << g.name << "\npulses_per_rev: " << g.pulses_per_rev
      << "\nlamps:\n";
  for (const Lamp& lamp : g.lamps)
    out << "  - {id: " << lamp.id << ", colours: " << quoted_list(lamp.colours) << "}\n";
  out << "windows:\n";
  for (const Window& w : g.windows) {
    out << "  - name: " << w.name << "\n    from: " << w.from_rpm << "\n    show: {";
    const char* comma = "";
    for (const Lamp& lamp : g.lamps)
      for (const std::string& colour : lamp.colours) {
        const Channels bit = g.channel(lamp.id, colour);
        if (((w.cue.steady | w.cue.blinking) & bit) == 0) continue;
        out << comma << lamp.id << ": " << colour << ((w.cue.blinking & bit) != 0 ? " blinking" : "");
        comma = ", ";
      }
    out << "}\n";
  }
  const char* sits = g.deadband.sits == Sits::below     ? "below"
                     : g.deadband.sits == Sits::centred ? "centred"
                                                        : "above";
  out << "deadband: {rpm: " << g.deadband.rpm << ", sits: " << sits << "}\n";
  if (g.blink) out << "blink: {hz: " << g.blink->hz << ", duty: " << g.blink->duty << "}\n";
  const Tolerance& t = g.tolerance;
  out << "tolerance: {rpm: " << t.rpm << ", response_ms: {from: " << to_ms(t.response_from)
      << ", to: " << to_ms(t.response_to) << "}, settle_ms: " << to_ms(t.settle)
      << ", blink_hz: " << t.blink_hz << ", blink_duty: " << t.blink_duty
      << ", signal_lost_ms: " << to_ms(t.signal_lost) << "}\n";
  return out.str();
}

RC_GTEST_PROP(GaugeFile, ReadsBackEveryGaugeThatIsWritten, ()) {
  const Gauge g = random_gauge();
  RC_PRE(problems_of(g).empty());
  const std::string text = yaml_of(g);
  const Gauge back = gauge_of(text);
  // Everything that a gauge has is in its text, and numbers are written to 17
  // digits: equal texts are equal gauges.
  RC_ASSERT(yaml_of(back) == text);
  RC_ASSERT(back.windows.size() == g.windows.size());
  for (std::size_t i = 0; i < g.windows.size(); ++i) {
    RC_ASSERT(back.windows[i].name == g.windows[i].name);
    RC_ASSERT(back.windows[i].from_rpm == g.windows[i].from_rpm);
    RC_ASSERT(back.windows[i].cue == g.windows[i].cue);
  }
}

}  // namespace
}  // namespace tachproof
