// Grade and plan, a logged lap, the deadband's curve and recordings that are handed in.
#include <gmock/gmock.h>

#include <chrono>
#include <thread>

#include "bench/files/files.h"
#include "bench/page/multipart.h"
#include "tests/page/page_client.h"

namespace tachproof {
namespace {

using testing::AllOf;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;

// Small enough to be graded in a moment.
constexpr const char* small_gauge =
    "format: 1\nkind: gauge\nname: Small <one>\npulses_per_rev: 2\nanchors: {limit: 4000}\nlamps:\n  - {id: "
    "a, colours: "
    "[white]}\nwindows:\n  - {name: low, from: 0, show: {}}\n  - {name: over, from: {limit: 0}, show: {a: "
    "white}}\ndeadband: {rpm: 10, sits: below}\ntolerance: {rpm: 5, response_ms: {from: 0, to: 150}}\n";
constexpr const char* small_scenario =
    "format: 1\nkind: scenario\nname: up and down\nseed: 1\nprofile:\n  - {hold: 3900, for: 1s}\n  - {ramp: "
    "4100, rate: "
    "100}\n  - {ramp: 3900, rate: 100}\n  - {hold: 3900, for: 1s}\n";

class GaugeTools : public testing::Test {
 protected:
  GaugeTools() {
    client_.write("gauges/small.yaml", small_gauge);
    client_.write("scenarios/up and down.yaml", small_scenario);
  }
  // What comes of handing this in, however long it takes.
  Response handed_in(const std::string& form, const std::string& type = "multipart/form-data; boundary=xYx") {
    Response now = client_.upload("/deadband/recordings", type, form);
    const std::string address = now.status == 303 ? now.headers.at(0).second : "";
    if (!address.starts_with("/deadband/recordings/")) return now;
    while ((now = client_.get(address)).body.find("data-errand") != std::string::npos)
      std::this_thread::sleep_for(std::chrono::milliseconds(10));
    return now;
  }
  PageClient client_;
};

TEST_F(GaugeTools, GradesAScenarioOfTheShop) {
  EXPECT_THAT(client_.get("/gauges/gauges/small.yaml/grade").body,
              HasSubstr("<option value=\"scenarios/up and down.yaml\""));
  const Response page =
      client_.outcome("/gauges/gauges/small.yaml/grade?scenario=scenarios/up%20and%20down.yaml");
  EXPECT_EQ(page.status, 200u);
  EXPECT_THAT(page.headers, testing::Contains(testing::Pair("X-Report", "yes")));
  EXPECT_THAT(page.body, HasSubstr("Small &lt;one&gt;"));
}

TEST_F(GaugeTools, SaysWhyThereIsNoGrade) {
  client_.write("scenarios/bad.yaml", "format: 1\nkind: scenario\nname: <x>\n");
  for (const auto& [scenario, words] :
       {std::pair("scenarios/none.yaml", "There is no scenario"), std::pair("../x", "There is no scenario"),
        std::pair("scenarios/bad.yaml", "scenarios/bad.yaml:1:1: no &#39;profile&#39; in")}) {
    const Response page = client_.get(std::string("/gauges/gauges/small.yaml/grade?scenario=") + scenario);
    EXPECT_EQ(page.status, 422u);
    EXPECT_THAT(page.body, HasSubstr(words));
  }
}

TEST_F(GaugeTools, WritesAPlanIntoTheShopUnderANewName) {
  EXPECT_EQ(client_.outcome("/gauges/gauges/small.yaml/plan").body,
            client_.get("/gauges/gauges/small.yaml/grade").body);
  EXPECT_EQ(client_.post("/gauges/gauges/small.yaml/plan", Fields()).status, 303u);
  const Response page = client_.outcome("/gauges/gauges/small.yaml/plan");
  EXPECT_EQ(page.status, 200u) << page.body;
  EXPECT_THAT(page.body, HasSubstr("Written to scenarios/small-plan.yaml"));
  EXPECT_GT(load_scenario(client_ / "scenarios/small-plan.yaml").steps.size(), 2u);
  Fields wrong;
  wrong.add("within", "<b>");
  const Response refused = client_.post("/gauges/gauges/small.yaml/plan", wrong);
  EXPECT_EQ(refused.status, 422u);
  EXPECT_THAT(refused.body, AllOf(HasSubstr("&lt;b&gt;"), Not(HasSubstr("<b>"))));
}

TEST_F(GaugeTools, PlaysALoggedLapFromItsExpectedWindows) {
  client_.copy("fixtures/gauges/tarn.yaml", "gauges/tarn.yaml");
  client_.copy("fixtures/logs/tarn-lap.csv", "logs/lap \"one\".csv");
  const std::string address = "/gauges/gauges/tarn.yaml/lap";
  EXPECT_THAT(client_.get(address).body, HasSubstr("logs/lap &quot;one&quot;.csv"));
  const Response columns = client_.get(address + "?log=logs/lap%20%22one%22.csv");
  EXPECT_THAT(columns.body,
              AllOf(HasSubstr("<option value=\"t\" selected>"), HasSubstr("<option value=\"n\" selected>"),
                    HasSubstr("<option value=\"throttle\">")));
  const Response lap = client_.get(address + "?log=logs/lap%20%22one%22.csv&time=t&rpm=n");
  EXPECT_EQ(lap.status, 200u);
  EXPECT_THAT(lap.body, AllOf(HasSubstr("What the driver should have seen"),
                              HasSubstr("data-lap=\"{&quot;windows&quot;")));
  const Response wrong = client_.get(address + "?log=logs/lap%20%22one%22.csv&time=t&rpm=%3Cnone%3E");
  EXPECT_EQ(wrong.status, 422u);
  EXPECT_THAT(wrong.body, HasSubstr("no column &#39;&lt;none&gt;&#39;"));
}

TEST_F(GaugeTools, DrawsFlickerAgainstTheWidthOfTheDeadband) {
  client_.copy("fixtures/noise/smooth-road.yaml", "noise/smooth.yaml");
  client_.copy("fixtures/gauges/tarn.yaml", "gauges/tarn.yaml");
  const Response page =
      client_.outcome("/deadband?gauge=gauges/tarn.yaml&noise=noise/smooth.yaml&limit=20&boundary=above");
  EXPECT_EQ(page.status, 200u);
  EXPECT_THAT(page.body, AllOf(HasSubstr("Boundary above, 3200 rpm"), HasSubstr("At 8 rpm: "),
                               HasSubstr("; costs 0.15 km/h."), HasSubstr("<svg class=\"curve\"")));
  EXPECT_THAT(client_.get("/deadband?gauge=gauges/none.yaml&noise=noise/smooth.yaml").body,
              HasSubstr("There is no gauge file gauges/none.yaml"));
  EXPECT_EQ(client_.get("/deadband?gauge=gauges/tarn.yaml&noise=noise/smooth.yaml&limit=-1").status, 422u);
}

// A study that nobody wants any more takes no processor, and keeps nobody from ending the program.
TEST_F(GaugeTools, StopsAStudyThatGoesOn) {
  client_.copy("fixtures/noise/smooth-road.yaml", "noise/smooth.yaml");
  client_.copy("fixtures/gauges/tarn.yaml", "gauges/tarn.yaml");
  client_.copy("scenarios/acceptance.yaml", "scenarios/acceptance.yaml");
  client_.post("/gauges/gauges/tarn.yaml/plan", Fields());
  for (const char* address :
       {"/gauges/gauges/tarn.yaml/plan",
        "/gauges/gauges/tarn.yaml/grade?scenario=scenarios%2Facceptance.yaml",
        "/deadband?gauge=gauges%2Ftarn.yaml&noise=noise%2Fsmooth.yaml&boundary=&limit=0.001&"
        "channel=tach"}) {
    client_.stop(address);
    const Response page = client_.outcome(address);
    EXPECT_EQ(page.status, 422u) << address;
    EXPECT_THAT(page.body, HasSubstr("Nothing came of it: it was stopped at the bench page.")) << address;
  }
  EXPECT_FALSE(std::filesystem::exists(client_ / "scenarios/tarn-plan.yaml"));
}

// The address stays; a file behind it does not.
TEST_F(GaugeTools, GradesAnewWhereTheScenarioHasChanged) {
  const std::string address = "/gauges/gauges/small.yaml/grade?scenario=scenarios/up%20and%20down.yaml";
  const std::string before = client_.outcome(address).body;
  EXPECT_EQ(client_.outcome(address).body, before);
  std::string longer = small_scenario;
  longer.replace(longer.find("up and down"), 11, "another name");
  client_.write("scenarios/up and down.yaml", longer);
  EXPECT_THAT(client_.outcome(address).body, HasSubstr("another name"));
}

std::string form_with(const std::string& file_name, const std::string& body) {
  return "--xYx\r\nContent-Disposition: form-data; name=\"gauge\"\r\n\r\ngauges/small.yaml\r\n--xYx\r\n"
         "Content-Disposition: form-data; name=\"recording\"; filename=\"" +
         file_name + "\"\r\nContent-Type: text/plain\r\n\r\n" + body + "\r\n--xYx--\r\n";
}

std::string edge_times(int count) {
  std::string text = "time\n";
  for (int i = 0; i < count; ++i) text += std::to_string(0.01 * i + (i % 3) * 1e-5) + "\n";
  return text;
}

TEST_F(GaugeTools, KeepsARecordingThatIsHandedInWhereItCanBeRead) {
  const std::string edges = edge_times(1500);
  const Response kept = handed_in(form_with("My <lap> 1.CSV", edges));
  ASSERT_EQ(kept.status, 303u) << kept.body;
  EXPECT_EQ(client_.read("recordings/my-lap-1.csv"), edges);
  EXPECT_THAT(kept.headers.at(0).second, HasSubstr("noise=recordings%2Fmy-lap-1.csv"));
  EXPECT_EQ(handed_in(form_with("My <lap> 1.CSV", edges)).status, 303u);
  EXPECT_EQ(client_.read("recordings/my-lap-1-2.csv"), edges);
}

TEST_F(GaugeTools, KeepsNothingThatIsNoRecording) {
  for (const auto& [name, body] : {std::pair<std::string, std::string>("a.csv", edge_times(10)),
                                   {"a.csv", "no, numbers\nhere, <b>\n"},
                                   {"a.yaml", edge_times(1500)},
                                   {"../../a", edge_times(1500)},
                                   {"a.csv", ""}}) {
    const Response refused = handed_in(form_with(name, body));
    EXPECT_EQ(refused.status, 422u) << name;
    EXPECT_THAT(refused.body, Not(HasSubstr("<b>")));
    EXPECT_THAT(refused.body, Not(HasSubstr(client_.operator/("").string())));
  }
  EXPECT_EQ(handed_in("x", "text/plain").status, 400u);
  EXPECT_FALSE(std::filesystem::exists(client_ / "recordings") &&
               !std::filesystem::is_empty(client_ / "recordings"));
}

std::string twenty_megabytes() {
  std::string text = edge_times(1500);
  for (int i = 1500; text.size() < 20'000'000; ++i) text += std::to_string(0.01 * i) + "\n";
  return text;
}

// Nobody's page waits for a large one; who does not want it any more stops it.
TEST_F(GaugeTools, ReadsALargeRecordingAsideAndCanBeStopped) {
  const std::string type = "multipart/form-data; boundary=xYx",
                    large = form_with("a.csv", twenty_megabytes());
  const Response on_its_way = client_.upload("/deadband/recordings", type, large);
  ASSERT_EQ(on_its_way.status, 303u);
  const std::string address = on_its_way.headers.at(0).second;
  ASSERT_THAT(address, testing::StartsWith("/deadband/recordings/"));
  EXPECT_THAT(client_.get(address).body, HasSubstr("The recording is being written and read."));
  client_.stop(address);
  const Response stopped = client_.outcome(address);
  EXPECT_EQ(stopped.status, 422u);
  EXPECT_THAT(stopped.body, HasSubstr("The recording was not kept. Nothing came of it: it was stopped"));
  EXPECT_TRUE(std::filesystem::is_empty(client_ / "recordings"));
  // The next one is read to its end.
  const Response next = handed_in(large);
  ASSERT_EQ(next.status, 303u) << next.body;
  EXPECT_THAT(next.headers.at(0).second, HasSubstr("noise=recordings%2Fa.csv"));
  // A page of an earlier server.
  EXPECT_EQ(client_.get("/deadband/recordings/1").headers.at(0).second, "/deadband");
}

TEST_F(GaugeTools, WritesNothingThroughALinkOutOfTheShop) {
  const ScratchFolder elsewhere;
  std::filesystem::create_directory_symlink(elsewhere.path(), client_ / "recordings");
  const Response refused = handed_in(form_with("a.csv", edge_times(1500)));
  EXPECT_EQ(refused.status, 422u);
  EXPECT_THAT(refused.body, HasSubstr("leads out of the shop"));
  EXPECT_TRUE(std::filesystem::is_empty(elsewhere.path()));
}

TEST(Multipart, ReadsFieldsAndFilesToTheByte) {
  const std::string body = form_with("a\\\"b.csv", std::string("1\r\n--xY\r\n\0x", 11));
  const auto read = parts_of_form("multipart/form-data; charset=utf-8; boundary=\"xYx\"", body, 8);
  const auto* parts = std::get_if<std::vector<FormPart>>(&read);
  ASSERT_NE(parts, nullptr);
  ASSERT_EQ(parts->size(), 2u);
  EXPECT_EQ((*parts)[0].name, "gauge");
  EXPECT_FALSE((*parts)[0].is_file);
  EXPECT_EQ((*parts)[0].body, "gauges/small.yaml");
  EXPECT_EQ((*parts)[1].file_name, "a\"b.csv");
  EXPECT_EQ((*parts)[1].body, std::string_view("1\r\n--xY\r\n\0x", 11));
}

TEST(Multipart, RefusesWhatIsCutOffOrBadlyWritten) {
  const std::string type = "multipart/form-data; boundary=xYx", whole = form_with("a.csv", "1");
  for (std::size_t length = 0; length + 2 < whole.size(); ++length)
    EXPECT_TRUE(std::holds_alternative<std::string>(parts_of_form(type, whole.substr(0, length), 8)))
        << length;
  for (const char* bad_type : {"", "multipart/form-data", "multipart/form-data; boundary=",
                               "multipart/form-data; boundary=\"a\nb\"", "multipart/mixed; boundary=xYx"})
    EXPECT_TRUE(std::holds_alternative<std::string>(parts_of_form(bad_type, whole, 8))) << bad_type;
  EXPECT_TRUE(std::holds_alternative<std::string>(parts_of_form(type, whole, 1)));
  EXPECT_TRUE(std::holds_alternative<std::string>(parts_of_form(type, whole + "more", 8)));
  EXPECT_TRUE(std::holds_alternative<std::string>(
      parts_of_form(type, "--xYx\r\nContent-Type: text/plain\r\n\r\n1\r\n--xYx--", 8)));
}

}  // namespace
}  // namespace tachproof
