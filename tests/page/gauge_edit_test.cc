// A gauge file behind a form: what changes when one value does, and what stays.
#include <gmock/gmock.h>
#include <rapidcheck/gtest.h>

#include <filesystem>

#include "bench/files/readers.h"
#include "bench/files/yaml_edit.h"
#include "bench/files/yaml_places.h"
#include "bench/page/gauge_check.h"
#include "bench/record/disk.h"
#include "tests/bench/files_cases.h"

namespace tachproof {
namespace {

using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

// As people write who like lines more than braces, with a comment wherever one may stand.
constexpr const char* in_lines = R"(# above all
format: 1 # one
kind: gauge
name: "Tor two-lamp"   # in quotes
# before the pulses
pulses_per_rev: 2 # two
anchors: # named
  lane: 4000 # of the lane

  # over it
  top: 8000
lamps: # left to right
- id: l # left
  colours: # both
    - white # w
    - 'blue' # b
- {id: r, colours: [white, # inside
    blue]} # right
windows:
  # the first
  - name: low
    from: 0 # zero
    show: {} # dark
  - name: near # close
    from:
      lane: -200 # under it
    show:
      l: white # one
      r: blue blinking # two
  - name: nearer
    from: {lane: -100}
    show:
      r: blue # only
  # before the last
  - {name: over, from: {top: 0}, show: {l: blue}} # last
deadband: # both ways
  rpm: 9 # nine
  sits: centred
blink: {hz: 4, duty: 0.5} # four
tolerance:
  rpm: 3
  # how fast
  response_ms:
    from: 0 # at once
    to: 100
# the end
)";

std::string shipped(const std::string& name) { return whole_file(source_path("fixtures/gauges/" + name)); }

std::vector<std::string> all_files() {
  std::string with_ends;
  for (const char c : std::string(in_lines)) with_ends += c == '\n' ? std::string("\r\n") : std::string(1, c);
  std::string unended = in_lines;
  unended.pop_back();
  std::vector<std::string> files{in_lines, with_ends, unended, "\xEF\xBB\xBF" + std::string(in_lines)};
  for (const auto& entry : std::filesystem::directory_iterator(source_path("fixtures/gauges")))
    files.push_back(whole_file(entry.path()));
  return files;
}

// One value that may be changed without another: where it is, and what else it may be.
struct OneValue {
  std::string* at;
  std::vector<std::string> may_be;
};

std::vector<OneValue> values_in(GaugeForm& form) {
  std::vector<OneValue> all{{&form.name, {"Other", "One: two", "say \"three\"", "# four", "f\xc3\xbcnf"}},
                            {&form.pulses_per_rev, {"1", "0.5", "60"}},
                            {&form.deadband_rpm, {"0", "5", "4.5"}},
                            {&form.sits, {"below", "centred", "above"}},
                            {&form.tolerance_rpm, {"1", "2.5"}},
                            {&form.response_from, {"1", "2"}},
                            {&form.response_to, {"250", "251.5"}},
                            {&form.settle_ms, {"", "11", "12"}},
                            {&form.tolerance_hz, {"", "0.3"}},
                            {&form.signal_lost_ms, {"", "900"}}};
  if (!form.blink_hz.empty()) all.push_back({&form.blink_hz, {"3", "2.25"}});
  for (auto& [name, rpm] : form.anchors) all.push_back({&rpm, {"4000", "4010", "7000"}});
  for (GaugeForm::Window& window : form.windows) {
    if (window.count_in) {
      all.push_back({&window.span_rpm, {"500", "610"}});
    } else {
      all.push_back({&window.name, {"other-name", "n2"}});
      all.push_back({&window.from, {"-100", "30", "+40", "0"}});
    }
    for (std::size_t lamp = 0; lamp < window.show.size(); ++lamp)
      all.push_back({&window.show[lamp], {"", "white", "blue blinking"}});
    for (GaugeForm::Show& step : window.steps)
      for (std::string& shown : step) all.push_back({&shown, {"", "white", "blue"}});
  }
  return all;
}

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines{""};
  for (const char c : text)
    if (c == '\n')
      lines.emplace_back();
    else
      lines.back() += c;
  return lines;
}

RC_GTEST_PROP(GaugeEdit, ChangesTheOneValueAndKeepsEveryCommentAndEveryOtherLine, ()) {
  static const std::vector<std::string> files = all_files();
  const std::string& file = files[*rc::gen::inRange<std::size_t>(0, files.size())];
  const GaugeForm before = form_of_text(file);
  GaugeForm after = before;
  const std::vector<OneValue> values = values_in(after);
  const OneValue& value = values[*rc::gen::inRange<std::size_t>(0, values.size())];
  *value.at = value.may_be[*rc::gen::inRange<std::size_t>(0, value.may_be.size())];

  const std::string text = yaml_edited(file, values_of(after));
  const GaugeForm read = form_of_text(text);
  RC_ASSERT(values_of(read).entries.size() == values_of(after).entries.size());
  RC_ASSERT(read == after);
  RC_ASSERT(yaml_comments(text) == yaml_comments(file));
  if (after == before) RC_ASSERT(text == file);
  const std::vector<std::string> old_lines = lines_of(file), new_lines = lines_of(text);
  std::size_t same = 0;
  while (same < std::min(old_lines.size(), new_lines.size()) && old_lines[same] == new_lines[same]) ++same;
  std::size_t same_below = 0;
  while (same_below < std::min(old_lines.size(), new_lines.size()) - same &&
         old_lines[old_lines.size() - 1 - same_below] == new_lines[new_lines.size() - 1 - same_below])
    ++same_below;
  RC_ASSERT(old_lines.size() - same - same_below <= 2u);
}

// Random rows come and go: what is saved always says what the form does.
RC_GTEST_PROP(GaugeEdit, SaysWhateverTheFormSays, ()) {
  static const std::vector<std::string> files = all_files();
  const std::string& file = files[*rc::gen::inRange<std::size_t>(0, files.size())];
  GaugeForm form = form_of_text(file);
  const int changes = *rc::gen::inRange(1, 6);
  for (int i = 0; i < changes; ++i) {
    const std::string what =
        *rc::gen::element<std::string>("add-anchor", "remove-anchor-", "add-lamp", "remove-lamp-",
                                       "add-window-", "remove-window-", "add-count-in-", "value");
    if (what == "value") {
      std::vector<OneValue> values = values_in(form);
      OneValue& value = values[*rc::gen::inRange<std::size_t>(0, values.size())];
      *value.at =
          *rc::gen::element<std::string>("1", "a b", "x: y", "[", "\"", "#", "'", "-", "~", "null", "a#b");
    } else if (what.back() == '-') {
      change_rows(form, what + std::to_string(*rc::gen::inRange(0, 9)));
    } else {
      change_rows(form, what);
    }
  }
  std::size_t unnamed = 0;
  for (auto& [name, rpm] : form.anchors)
    if (name.empty()) name = "fresh-" + std::to_string(unnamed++);
  for (GaugeForm::Lamp& lamp : form.lamps)
    if (lamp.id.empty()) lamp.id = "fresh-" + std::to_string(unnamed++);
  const std::string text = yaml_edited(file, values_of(form));
  ErrorList errors("");
  const std::optional<YamlTree> tree = parse_yaml(text, errors);
  RC_ASSERT(tree.has_value());
  RC_ASSERT(says(*tree->root, values_of(form)));
}

TEST(GaugeEdit, OfNothingIsTheFileItself) {
  for (const std::string& file : all_files())
    EXPECT_EQ(yaml_edited(file, values_of(form_of_text(file))), file);
}

TEST(GaugeEdit, AddsAndTakesAwayRowsAsLines) {
  const std::string file = shipped("tarn.yaml");
  GaugeForm form = form_of_text(file);
  ASSERT_TRUE(change_rows(form, "remove-window-2"));
  ASSERT_TRUE(change_rows(form, "add-window-0"));
  form.windows[1].name = "early";
  form.windows[1].anchor = "lane";
  form.windows[1].from = "-9km/h";
  form.windows[1].show[1] = "white blinking";
  const std::string text = yaml_edited(file, values_of(form));
  EXPECT_THAT(text, HasSubstr("  - {name: clear, from: 0, show: {}}\n"
                              "  - {name: early, from: {lane: -9km/h}, show: {centre: white blinking}}\n"
                              "  - {name: nearing, from: {lane: -6km/h}, show: {near-side: cyan}}\n"
                              "  - {name: above, from: {lane: 0}, "));
  EXPECT_EQ(yaml_comments(text), yaml_comments(file));
}

TEST(GaugeEdit, WritesANewEntryWhereTheReferenceHasIt) {
  GaugeForm form = form_of_text(in_lines);
  form.supply = "supply: {from: 9V, to: 16V}\n";
  form.resolution_rpm = "10";
  form.gear = "2";
  form.final_drive = "3";
  form.tyre = "rollout";
  form.tyre_length = "10.1m/5";
  const std::string text = yaml_edited(in_lines, values_of(form));
  EXPECT_THAT(text, HasSubstr("pulses_per_rev: 2 # two\ndrive: {gear: 2, final_drive: 3, rollout: 10.1m/5}\n"
                              "resolution_rpm: 10\nanchors: # named\n"));
  EXPECT_THAT(text, testing::EndsWith("    to: 100\nsupply: {from: 9V, to: 16V}\n# the end\n"));
  EXPECT_EQ(yaml_comments(text), yaml_comments(in_lines));
}

TEST(GaugeEdit, OfAFileThatRepeatsItselfByAliasesSaysTheSame) {
  const std::string file =
      "format: 1\nkind: gauge\nname: Twin # kept\npulses_per_rev: 1\nlamps:\n  - {id: a, colours: &c "
      "[white]}\n"
      "  - {id: b, colours: *c}\nwindows:\n  - {name: low, from: 0, show: {}}\n  - {name: high, from: 4000, "
      "show: "
      "{a: white}}\ndeadband: {rpm: 5, sits: below}\ntolerance: {rpm: 3, response_ms: {from: 0, to: 100}}\n";
  GaugeForm form = form_of_text(file);
  form.lamps[1].colours = "white, blue";
  const std::string text = yaml_edited(file, values_of(form));
  EXPECT_EQ(form_of_text(text), form);
  EXPECT_THAT(yaml_comments(text), ElementsAre("# kept"));
}

TEST(GaugeForm, OfEveryShippedGaugeIsThatGauge) {
  for (const std::string& file : all_files()) {
    const CheckedForm result = checked(form_of_text(file), "g.yaml", "");
    EXPECT_THAT(result.errors, IsEmpty()) << file;
    EXPECT_TRUE(result.gauge);
    EXPECT_TRUE(is_whole(file));
  }
}

TEST(GaugeForm, IsNotOfferedWhereItWouldLoseSomething) {
  const std::string file = shipped("tarn.yaml");
  EXPECT_FALSE(is_whole(file + "colour_of_the_case: black\n"));
  std::string more = file;
  more.insert(more.find("rpm: 4, resp"), "dial_rpm: 10, ");
  EXPECT_FALSE(is_whole(more));
}

TEST(GaugeForm, GetsEachErrorAtItsFieldWithTheSentenceOfCheck) {
  const std::string file = shipped("drumlin.yaml");
  const auto errors_of = [&](const std::function<void(GaugeForm&)>& spoil) {
    GaugeForm form = form_of_text(file);
    spoil(form);
    const CheckedForm result = checked(form, "drumlin.yaml", file);
    EXPECT_FALSE(result.gauge);
    EXPECT_EQ(check_text("drumlin.yaml", result.text).errors.size(), result.errors.size());
    std::vector<std::string> all;
    for (const auto& [field, sentences] : result.at_field)
      for (const std::string& sentence : sentences) all.push_back(field + ": " + sentence);
    for (const std::string& line : result.elsewhere) all.push_back("elsewhere: " + line);
    return all;
  };
  EXPECT_THAT(errors_of([](GaugeForm& f) { f.pulses_per_rev = "3x"; }),
              ElementsAre("pulses_per_rev: 'pulses_per_rev' is '3x'; a number above 0, at most 60"));
  EXPECT_THAT(errors_of([](GaugeForm& f) { f.pulses_per_rev.clear(); }),
              ElementsAre("pulses_per_rev: 'pulses_per_rev' is nothing; a number above 0, at most 60"));
  EXPECT_THAT(errors_of([](GaugeForm& f) { f.anchors[1].second = "60km/h"; }),
              ElementsAre(HasSubstr("anchor-1-rpm: 'shift' is '60km/h'; a 'drive' in this gauge")));
  EXPECT_THAT(errors_of([](GaugeForm& f) { f.windows[2].anchor = "pitt"; }),
              ElementsAre("window-2-anchor: unknown anchor 'pitt'; did you mean 'pit'?"));
  EXPECT_THAT(errors_of([](GaugeForm& f) { f.windows[2].from = "-300"; }),
              ElementsAre(HasSubstr("window-2-from: ")));
  EXPECT_THAT(errors_of([](GaugeForm& f) { f.windows[3].show[1] = "pink"; }),
              ElementsAre("window-3-lamp-1: unknown colour 'pink'; allowed: blue, magenta"));
  EXPECT_THAT(errors_of([](GaugeForm& f) { f.lamps[2].id = "left"; }),
              testing::Contains(HasSubstr("lamp-2-id: ")));
  EXPECT_THAT(errors_of([](GaugeForm& f) { f.windows[5].span_rpm = "9000"; }),
              ElementsAre(HasSubstr("window-5-span_rpm: ")));
  EXPECT_THAT(errors_of([](GaugeForm& f) { f.deadband_rpm = "200"; }),
              testing::Contains(HasSubstr("deadband_rpm: ")));
  EXPECT_THAT(errors_of([](GaugeForm& f) { f.response_to = "-1"; }), ElementsAre(HasSubstr("response_to: ")));
  EXPECT_THAT(errors_of([](GaugeForm& f) { f.supply = "supply: {from: 9V, to: [\n"; }),
              ElementsAre(HasSubstr("supply: ")));
  EXPECT_THAT(errors_of([](GaugeForm& f) { f.buttons = "buttons:\n  - {name: set, does: fly}\n"; }),
              ElementsAre(HasSubstr("buttons: 'does' is 'fly'")));
}

TEST(GaugeForm, OfFieldsKeepsWhatHangsFromAnAnchorThatIsRenamed) {
  Fields fields;
  fields.add("anchor-0-name", "lane");
  fields.add("anchor-0-was", "pit");
  fields.add("anchor-0-rpm", " 4000 ");
  fields.add("window-0-kind", "window");
  fields.add("window-0-name", "low");
  fields.add("window-0-anchor", "pit");
  fields.add("window-0-from", "-10");
  const GaugeForm form = form_of_fields(fields);
  ASSERT_EQ(form.windows.size(), 1u);
  EXPECT_EQ(form.windows[0].anchor, "lane");
  EXPECT_THAT(form.anchors, ElementsAre(testing::Pair("lane", "4000")));
}

}  // namespace
}  // namespace tachproof
