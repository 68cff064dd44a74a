#include "bench/history/drift_drawing.h"

#include <regex>
#include <set>

#include "tests/page/places_client.h"

namespace tachproof {
namespace {

using testing::AllOf;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

class UnitsPlace : public PlacesClient {
 protected:
  void make_of(const std::string& unit, const std::string& day, double off_rpm,
               const std::string& watch = "board", const std::string& settings = std::string(64, 'a')) {
    Made made;
    made.name = "run-" + std::to_string(++made_);
    made.unit = unit;
    made.started = day + "T08:00:00+01:00";
    made.off_rpm = off_rpm;
    made.watch = watch;
    made.settings = settings;
    make(made);
  }
  int made_ = 0;
};

TEST_F(UnitsPlace, SaysWhereThereIsNothingYet) {
  EXPECT_THAT(get("/units").body, HasSubstr("No run is in the history yet."));
  settings_.no_history = true;
  open();
  EXPECT_THAT(get("/units/K17").body, HasSubstr("No run is in the history yet."));
}

TEST_F(UnitsPlace, ListsEveryUnitOnceWithItsLastRun) {
  make_of("K17", "2031-03-14", 0.2);
  make_of("K17", "2031-03-20", 0.4);
  make_of("K18", "2031-03-15", 0.1);
  make_of("", "2031-03-16", 0.1);
  const std::string page = get("/units").body;
  EXPECT_THAT(page, AllOf(HasSubstr("2 units."), HasSubstr(">2 runs<"), HasSubstr(">1 run<"),
                          HasSubstr("2031-03-20"), HasSubstr("class=\"drifting\"")));
  EXPECT_LT(page.find("/units/K17"), page.find("/units/K18")) << "who was tested last comes first";
  EXPECT_THAT(get("/units?find=18").body, AllOf(HasSubstr("1 unit."), Not(HasSubstr("/units/K17"))));
  EXPECT_THAT(get("/units/K99").status, 404U);
}

TEST_F(UnitsPlace, SoftwareIsLeftOutUnlessItIsAskedFor) {
  make_of("K17", "2031-03-14", 0.2);
  make_of("K17", "2031-03-15", 2.5, "simulated");
  make_of("S1", "2031-03-15", 2.5, "simulated");
  EXPECT_THAT(get("/units").body, AllOf(HasSubstr("1 unit."), Not(HasSubstr("/units/S1")),
                                        HasSubstr("2 in software</a> are left out")));
  EXPECT_THAT(get("/units?simulated=yes").body,
              AllOf(HasSubstr("2 units in software"), HasSubstr("/units/S1"), HasSubstr("SIMULATED")));
  EXPECT_THAT(get("/units/K17").body, AllOf(HasSubstr("1 SIMULATED run is left out"), HasSubstr("one run"),
                                            Not(HasSubstr("A unit in software"))));
  EXPECT_THAT(get("/units/K17?simulated=yes").body,
              HasSubstr("A unit in software: this says nothing of a real one"));
}

TEST_F(UnitsPlace, DrawsTheDriftBrokenWhereTheSettingsChanged) {
  make_of("K17", "2031-03-14", 0.2);
  make_of("K17", "2031-03-15", 0.3);
  EXPECT_THAT(get("/units/K17").body, AllOf(HasSubstr("brisk, rising"), HasSubstr("2 runs; since the first"),
                                            Not(HasSubstr("class=\"cut\""))));
  make_of("K17", "2031-03-16", 0.4, "board", std::string(64, 'b'));
  make_of("K17", "2031-03-17", 0.5, "board", std::string(64, 'b'));
  const std::string page = get("/units/K17").body;
  EXPECT_EQ(times(page, "class=\"cut\""), 1U);
  EXPECT_EQ(times(page, "class=\"rpm\""), 2U) << "one line before, one after";
  EXPECT_THAT(get("/units/K17?since=2031-03-16").body, Not(HasSubstr("class=\"cut\"")));
  EXPECT_EQ(get("/units/K17?since=soon").status, 400U);
}

// A letter of 11 px is about 6.2 px wide: Chromium's own measure of Debian's DejaVu Sans, of "29 Nov 22:36".
TEST(DriftDrawing, WritesItsMomentsOnceAndWithinTheDrawing) {
  for (const std::int64_t apart_s : {0, 1, 7, 59, 60, 300, 3600, 200'000, 300'000, 90'000'000}) {
    Drift drift;
    drift.boundary = "brisk";
    drift.points = {{1'931'000'000, 0.1, 0.1}, {1'931'000'000 + apart_s, 0.2, 0.1}};
    const std::string svg = drift_drawing(drift);
    std::set<std::string> texts;
    double taken = 0;
    static const std::regex label("<text x=\"([0-9.]+)\" y=\"159\"[^>]*>([^<]*)</text>");
    for (std::sregex_iterator at(svg.begin(), svg.end(), label), end; at != end; ++at) {
      const std::string text = (*at)[2];
      const double middle = std::stod((*at)[1]), half = 6.2 / 2 * static_cast<double>(text.size());
      EXPECT_TRUE(texts.insert(text).second) << text << " twice, " << apart_s;
      EXPECT_GE(middle - half, taken) << text << ", " << apart_s;
      EXPECT_LE(middle + half, 460) << text << ", " << apart_s;
      taken = middle + half;
    }
    EXPECT_THAT(texts, Not(IsEmpty())) << svg;
  }
}

TEST_F(UnitsPlace, TheSpreadOfAGaugeIsThatOfTheHistory) {
  for (int i = 0; i < 5; ++i) make_of("K" + std::to_string(i), "2031-03-1" + std::to_string(i), 0.1 * i);
  make_of("K0", "2031-03-20", 0.3);
  EXPECT_THAT(get("/units").body, AllOf(HasSubstr("Choose a gauge"), Not(HasSubstr("Cpk</th>"))));
  const std::string page = get("/units?gauge=Drumlin+four-lamp+gauge").body;
  const auto runs = History(settings_.history, History::Open::existing).runs({});
  EXPECT_THAT(page, HasSubstr(spreads_html(spreads(drifts(runs)))));
  EXPECT_THAT(page, HasSubstr("Cpk</th>"));
}

TEST_F(UnitsPlace, ASerialNumberIsTextWhateverIsInIt) {
  const std::vector<std::string> serials{"a/b",         "..",        "<b>&\"'", "50 %+x",
                                         "back\\slash", "tab\there", "\xff",    "a//b"};
  for (const std::string& serial : serials) make_of(serial, "2031-03-14", 0.2);
  const std::string list = get("/units").body;
  EXPECT_THAT(list, AllOf(HasSubstr("8 units."), Not(HasSubstr("<b>&\"")), Not(HasSubstr("\xff"))));
  std::size_t found = 0;
  for (std::size_t at = list.find("<td data-of=\"unit\"><a href=\""); at != list.npos;
       at = list.find("<td data-of=\"unit\"><a href=\"", at + 1)) {
    const std::size_t from = at + 28, to = list.find('"', from);
    std::string address = list.substr(from, to - from);
    EXPECT_THAT(get(address).body, HasSubstr("brisk, rising")) << address;
    ++found;
  }
  EXPECT_EQ(found, serials.size());
}

}  // namespace
}  // namespace tachproof
