// The gauges' place as a browser without script sees it.
#include <gmock/gmock.h>
#include <unistd.h>

#include "bench/files/files.h"
#include "bench/files/yaml_places.h"
#include "bench/page/gauge_form.h"
#include "tests/page/page_client.h"

namespace tachproof {
namespace {

using testing::AllOf;
using testing::HasSubstr;
using testing::Not;

constexpr const char* odd_name = "gauges/two words <b>&\"q\" 'x'.yaml";
constexpr const char* odd_address = "/gauges/gauges/two%20words%20%3Cb%3E%26%22q%22%20%27x%27.yaml";

class GaugesPlace : public testing::Test {
 protected:
  GaugesPlace() { client_.copy("fixtures/gauges/tarn.yaml", "gauges/tarn.yaml"); }
  std::string tarn() { return client_.get("/gauges/gauges/tarn.yaml").body; }
  // Review, then save, as a person does.
  Response save(const std::vector<std::pair<std::string, std::string>>& typed) {
    const Response review =
        client_.post("/gauges/gauges/tarn.yaml", PageClient::form_of(tarn(), "review", typed));
    EXPECT_EQ(review.status, 200u);
    review_ = review.body;
    return client_.post("/gauges/gauges/tarn.yaml", PageClient::form_of(review.body, "save"));
  }
  PageClient client_;
  std::string review_;
};

TEST_F(GaugesPlace, HasACardForEachGaugeWithItsJobs) {
  client_.copy("fixtures/gauges/drumlin.yaml", odd_name);
  client_.copy("fixtures/rigs/simulated.yaml", "rigs/simulated.yaml");
  client_.copy("fixtures/gauges/drumlin.yaml", "gauges/drumlin.yaml");
  client_.write("jobs/tarn.yaml",
                "format: 1\nkind: job\nname: Quick <tarn>\ngauge: ../gauges/tarn.yaml\nplay: plan\nrig: "
                "../rigs/simulated.yaml\n");
  client_.write("gauges/broken.yaml", "format: 1\nkind: gauge\nname: Broken\n");
  const std::string html = client_.get("/gauges").body;
  EXPECT_THAT(html, HasSubstr("Tarn three-lamp gauge</a>"));
  EXPECT_THAT(html, HasSubstr("Used by: Quick &lt;tarn&gt;"));
  EXPECT_THAT(html, HasSubstr(std::string("href=\"") + odd_address + "\""));
  EXPECT_THAT(html, HasSubstr("gauges/broken.yaml:1:1: "));
  EXPECT_THAT(html, Not(HasSubstr("<b>&")));
  EXPECT_EQ(client_.get(odd_address).status, 200u);
}

TEST_F(GaugesPlace, ShowsTheLadderToScaleAndNoScriptOrStyleInline) {
  const std::string html = tarn();
  EXPECT_THAT(html, HasSubstr("data-anchor=\"0\" data-rpm=\"3200\""));
  EXPECT_THAT(html, HasSubstr(">km/h</text>"));
  EXPECT_THAT(html, HasSubstr("59.82 km/h"));
  EXPECT_THAT(html, AllOf(Not(HasSubstr(" style=")), Not(HasSubstr("<style")), Not(HasSubstr(" onclick"))));
  EXPECT_THAT(html, HasSubstr("<script src=\"/gauge.js\" defer></script>"));
}

TEST_F(GaugesPlace, EveryFieldHasALabel) {
  const std::string html = tarn();
  static const std::regex id("<(?:input|select|textarea) id=\"([^\"]*)\"");
  std::size_t fields = 0;
  for (std::sregex_iterator at(html.begin(), html.end(), id), end; at != end; ++at, ++fields)
    EXPECT_THAT(html, HasSubstr("<label for=\"" + (*at)[1].str() + "\"")) << (*at)[1];
  EXPECT_GT(fields, 60u);
}

TEST_F(GaugesPlace, SendsBackWhatItWasGiven) {
  for (const char* gauge : {"tarn", "kame", "esker", "drumlin", "drumlin-buttons"}) {
    const std::string name = std::string("gauges/") + gauge + "-2.yaml";
    client_.copy(std::string("fixtures/gauges/") + gauge + ".yaml", name);
    const std::string html = client_.get("/gauges/" + name).body;
    EXPECT_EQ(form_of_fields(PageClient::form_of(html, "")), form_of_text(client_.read(name))) << gauge;
    EXPECT_THAT(client_.post("/gauges/" + name, PageClient::form_of(html, "review")).body,
                HasSubstr("Nothing differs from what is saved"));
  }
}

TEST_F(GaugesPlace, SavesWhatWasReviewedAndKeepsTheComments) {
  const std::string before = client_.read("gauges/tarn.yaml");
  const Response saved = save({{"deadband_rpm", "10"}, {"anchor-0-rpm", "3300"}});
  EXPECT_THAT(review_, HasSubstr("deadband 8 to 10 rpm"));
  EXPECT_THAT(review_, HasSubstr("anchor lane moves up 100 rpm (3200 to 3300)"));
  ASSERT_EQ(saved.status, 303u);
  std::string wanted = before;
  wanted.replace(wanted.find("60km/h"), 6, "3300");
  wanted.replace(wanted.find("rpm: 8, sits"), 6, "rpm: 10");
  EXPECT_EQ(client_.read("gauges/tarn.yaml"), wanted);
  EXPECT_THAT(client_.get("/gauges/gauges/tarn.yaml?saved=yes").body, HasSubstr("Saved."));
}

TEST_F(GaugesPlace, SavesNothingThatWasNotReviewedAsItIs) {
  const std::string before = client_.read("gauges/tarn.yaml");
  const Response at_once =
      client_.post("/gauges/gauges/tarn.yaml", PageClient::form_of(tarn(), "save", {{"deadband_rpm", "9"}}));
  EXPECT_THAT(at_once.body, HasSubstr("What changes"));
  const Response other = client_.post("/gauges/gauges/tarn.yaml",
                                      PageClient::form_of(at_once.body, "save", {{"deadband_rpm", "11"}}));
  EXPECT_THAT(other.body, HasSubstr("deadband 8 to 11 rpm"));
  EXPECT_EQ(client_.read("gauges/tarn.yaml"), before);
}

TEST_F(GaugesPlace, NeverWritesOverAFileThatHasChanged) {
  const Fields review = PageClient::form_of(tarn(), "review", {{"deadband_rpm", "9"}});
  const std::string other = client_.read("gauges/tarn.yaml") + "# somebody else\n";
  client_.write("gauges/tarn.yaml", other);
  const Response refused = client_.post("/gauges/gauges/tarn.yaml", review);
  EXPECT_EQ(refused.status, 409u);
  EXPECT_THAT(refused.body, HasSubstr("The file has changed since this form was loaded"));
  EXPECT_EQ(client_.post("/gauges/gauges/tarn.yaml", PageClient::form_of(refused.body, "save")).status, 409u);
  EXPECT_EQ(client_.read("gauges/tarn.yaml"), other);
}

TEST_F(GaugesPlace, KeepsTheFormWhereTheFileCannotBeWritten) {
  if (geteuid() == 0) GTEST_SKIP() << "nothing is forbidden to root";
  const Response review = client_.post("/gauges/gauges/tarn.yaml",
                                       PageClient::form_of(tarn(), "review", {{"deadband_rpm", "9"}}));
  std::filesystem::permissions(client_ / "gauges",
                               std::filesystem::perms::owner_read | std::filesystem::perms::owner_exec);
  const Response refused = client_.post("/gauges/gauges/tarn.yaml", PageClient::form_of(review.body, "save"));
  std::filesystem::permissions(client_ / "gauges", std::filesystem::perms::owner_all);
  EXPECT_EQ(refused.status, 500u);
  EXPECT_THAT(refused.body,
              AllOf(HasSubstr("Nothing was saved: "), HasSubstr("name=\"deadband_rpm\" value=\"9\"")));
}

TEST_F(GaugesPlace, SaysAnErrorAtItsFieldAndSavesNothing) {
  const Response wrong = client_.post(
      "/gauges/gauges/tarn.yaml",
      PageClient::form_of(tarn(), "review", {{"window-2-anchor", "lan\"e<"}, {"pulses_per_rev", "two"}}));
  EXPECT_EQ(wrong.status, 422u);
  EXPECT_THAT(wrong.body, HasSubstr("<p class=\"wrong\" id=\"error-pulses_per_rev\">"));
  EXPECT_THAT(wrong.body,
              HasSubstr("gauges/tarn.yaml:5:17: &#39;pulses_per_rev&#39; is &#39;two&#39;; a number"));
  EXPECT_THAT(wrong.body, HasSubstr("id=\"error-window-2-anchor\""));
  EXPECT_THAT(wrong.body, Not(HasSubstr("e<\"")));
  EXPECT_THAT(wrong.body, Not(HasSubstr("What changes")));
}

TEST_F(GaugesPlace, AddsAndRemovesRowsWithoutScript) {
  Response page = client_.post("/gauges/gauges/tarn.yaml", PageClient::form_of(tarn(), "remove-window-1"));
  page = client_.post("/gauges/gauges/tarn.yaml", PageClient::form_of(page.body, "add-anchor"));
  page = client_.post(
      "/gauges/gauges/tarn.yaml",
      PageClient::form_of(page.body, "add-lamp", {{"anchor-2-name", "third"}, {"anchor-2-rpm", "9000"}}));
  page = client_.post(
      "/gauges/gauges/tarn.yaml",
      PageClient::form_of(page.body, "review", {{"lamp-3-id", "new"}, {"lamp-3-colours", "lime"}}));
  EXPECT_EQ(page.status, 200u);
  EXPECT_EQ(client_.post("/gauges/gauges/tarn.yaml", PageClient::form_of(page.body, "save")).status, 303u);
  const Gauge gauge = load_gauge(client_ / "gauges/tarn.yaml");
  EXPECT_EQ(gauge.lamps.size(), 4u);
  EXPECT_EQ(gauge.anchors.size(), 3u);
  EXPECT_EQ(gauge.windows[1].name, "held");
  EXPECT_THAT(yaml_comments(client_.read("gauges/tarn.yaml")), testing::SizeIs(6));
}

TEST_F(GaugesPlace, RefusesWhatIsNoGaugeOfTheShop) {
  client_.copy("fixtures/gauges/tarn.yaml", "runs/one/gauge.yaml");
  client_.write("elsewhere.yaml", "format: 1\nkind: rig\n");
  for (const char* address :
       {"/gauges/gauges/none.yaml", "/gauges/runs/one/gauge.yaml", "/gauges/elsewhere.yaml",
        "/gauges/..%2F..%2Fetc%2Fpasswd", "/gauges/../gauges/tarn.yaml"})
    EXPECT_EQ(client_.get(address).status, 404u) << address;
  EXPECT_EQ(client_.post("/gauges/runs/one/gauge.yaml", PageClient::form_of(tarn(), "save")).status, 404u);
}

TEST_F(GaugesPlace, MakesANewSoundGaugeUnderANameOfItsOwn) {
  Fields form;
  form.add("name", "Tor <two>: \"lamps\"");
  const Response made = client_.post("/gauges", form);
  ASSERT_EQ(made.status, 303u);
  EXPECT_EQ(made.headers.at(0).second, "/gauges/gauges/tor-two-lamps.yaml");
  EXPECT_EQ(load_gauge(client_ / "gauges/tor-two-lamps.yaml").name, "Tor <two>: \"lamps\"");
  EXPECT_EQ(client_.post("/gauges", form).headers.at(0).second, "/gauges/gauges/tor-two-lamps-2.yaml");
  EXPECT_EQ(client_.post("/gauges", Fields()).status, 422u);
}

TEST_F(GaugesPlace, AFileThatIsNotSoundIsShownWithItsErrorsAndHasNoForm) {
  client_.write("gauges/broken.yaml", "format: 1\nkind: gauge\nname: <i>\n# kept\n");
  const Response page = client_.get("/gauges/gauges/broken.yaml");
  EXPECT_THAT(page.body, AllOf(HasSubstr("gauges/broken.yaml:1:1: "), HasSubstr("name: &lt;i&gt;")));
  EXPECT_THAT(page.body, Not(HasSubstr("<form")));
}

TEST_F(GaugesPlace, WorksOutAnAnchorFromASpeedLimitAndWritesItIntoTheForm) {
  // As `tachproof speed --limit 60km/h --margin 2km/h --gear 1.54 --final-drive 3.9 --rollout 10.1m/5`: 2873
  // rpm.
  const std::vector<std::pair<std::string, std::string>> typed{
      {"calc_limit", "60km/h"},    {"calc_margin", "2km/h"}, {"calc_gear", "1.54"},
      {"calc_final_drive", "3.9"}, {"calc_tyre", "rollout"}, {"calc_length", "10.1m/5"},
      {"calc_uncertainty", ""},    {"calc_acts", "3"},       {"calc_factor", ""},
      {"resolution_rpm", ""},      {"anchor-0-rpm", "3200"}};
  const Response answer =
      client_.post("/gauges/gauges/tarn.yaml", PageClient::form_of(tarn(), "speed", typed));
  EXPECT_THAT(answer.body, HasSubstr("<b>2874 rpm</b>"));
  const Response taken =
      client_.post("/gauges/gauges/tarn.yaml", PageClient::form_of(answer.body, "take-speed-0"));
  EXPECT_THAT(taken.body, HasSubstr("anchor lane is 2874 rpm"));
  EXPECT_THAT(taken.body, HasSubstr("name=\"anchor-0-rpm\" value=\"2874\""));
  const Response wrong = client_.post("/gauges/gauges/tarn.yaml",
                                      PageClient::form_of(tarn(), "speed", {{"calc_limit", "fast"}}));
  EXPECT_THAT(wrong.body, HasSubstr("Limit is &#39;fast&#39;"));
}

TEST_F(GaugesPlace, TellsItsScriptTheSameAsJson) {
  const Response good = client_.post("/gauges/gauges/tarn.yaml/check",
                                     PageClient::form_of(tarn(), "", {{"anchor-0-rpm", "3300"}}));
  EXPECT_THAT(good.body, HasSubstr("\"sound\":true"));
  EXPECT_THAT(good.body, HasSubstr("data-rpm=\\\"3300\\\""));
  const Response bad = client_.post("/gauges/gauges/tarn.yaml/check",
                                    PageClient::form_of(tarn(), "", {{"anchor-0-rpm", "3301"}}));
  EXPECT_THAT(bad.body, HasSubstr("\"sound\":false"));
  EXPECT_THAT(bad.body, HasSubstr("\"anchor-0-rpm\":[\"'lane' is '3301'; a multiple of 10 rpm"));
}

TEST_F(GaugesPlace, LightsTheLampsAtAnRpmWithoutScript) {
  const Response page =
      client_.post("/gauges/gauges/tarn.yaml", PageClient::form_of(tarn(), "light", {{"at_rpm", "3100"}}));
  EXPECT_THAT(page.body, HasSubstr(">cyan</text>"));
}

}  // namespace
}  // namespace tachproof
