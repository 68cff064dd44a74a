// What an engineer opens from the bench page: reports, comparisons, studies, the rig's own tests.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <future>
#include <set>

#include "tests/page/operator.h"
#include "tests/program/files_for_tests.h"

namespace tachproof {
namespace {

using testing::HasSubstr;
using testing::SizeIs;

// Reports have drawings and tables that scroll in a narrow window. Firefox, and Chromium since 130, let the
// arrow keys scroll them without a word in the page; axe-core asks for that word.
constexpr const char* browsers_do = "scrollable-region-focusable";

class Engineer : public OperatorTest {
 protected:
  void SetUp() override {
    OperatorTest::SetUp();
    shop.write_job("a.yaml", "Two lamps", "../scenarios/short.yaml", "bench-1");
    shop.write_job("b.yaml", "Two lamps", "../scenarios/short.yaml", "bench-2");
  }
  void test_unit(const ServedShop& served, const std::string& tile, const std::string& serial) {
    served.post("/tiles/" + tile + "/start", "serial=" + serial);
    ASSERT_TRUE(served.comes_to(tile, "result"));
  }
  // The page at this address, once no work behind it goes on.
  void open_outcome(const ServedShop& served, const std::string& target) {
    driven().open(served.own_origin() + target);
    ASSERT_TRUE(comes_true([&] { return !driven().has("[data-errand]"); })) << target;
  }
};

TEST_F(Engineer, FindsReportsSound) {
  shop.write("certificates/shop.yaml",
             "format: 1\nkind: certificate\nshop: {name: Tor workshop}\ntested_by: Una Strath\n");
  shop.write_job("c.yaml", "With a certificate", "../scenarios/short.yaml", "bench-3",
                 "certificate: ../certificates/shop.yaml\n");
  shop.write_rig("bench-3");
  const ServedShop served(shop.folder(), "--at-once --no-history");
  open(served);
  test_unit(served, first_tile, "E-1");
  test_unit(served, second_tile, "E-2");
  test_unit(served, "rigs_bench-3", "E-3");
  const std::vector<std::string> runs = shop.runs();
  ASSERT_THAT(runs, SizeIs(3));
  int number = 0;
  for (const std::string& run : runs) {
    driven().open(served.own_origin() + "/runs/" + run + "/report");
    look("report-" + std::to_string(++number), browsers_do);
    driven().open(served.own_origin() + "/runs/" + run);
    look("run-" + std::to_string(number));
  }
  open_outcome(served, "/runs/compare?run=" + runs[0] + "&run=" + runs[1]);
  look("compare", browsers_do);
  open_outcome(served, "/gauges/gauges/two-lamp.yaml/grade?scenario=scenarios/short.yaml");
  look("grade", browsers_do);
  served.post("/runs/" + runs[0] + "/verify", "");
  open_outcome(served, "/runs/" + runs[0] + "/verify");
  EXPECT_THAT(driven().text(".verdict"), HasSubstr("VERIFIED"));
  look("verify");
}

TEST_F(Engineer, TestsTheLampsOfARig) {
  const ServedShop served(shop.folder(), "--at-once --no-history");
  open(served);
  driven().open(served.own_origin() + "/rigs/rigs/bench-1.yaml");
  look("rig");
  served.post("/rigs/rigs/bench-1.yaml/lamp-test", "gauge=gauges/two-lamp.yaml");
  open_outcome(served, "/rigs/rigs/bench-1.yaml/lamp-test");
  EXPECT_THAT(driven().text(".verdict"), HasSubstr("PASS"));
  look("lamp-test");
}

// A page that nobody sees hears nothing, and is none the worse for it.
TEST_F(Engineer, SeesAtOnceWhatHasHappenedWhileThePageWasHidden) {
  const ServedShop served(shop.folder(), "--at-once --no-history");
  open(served);
  Browser& browser = driven();
  const auto hide = [&](bool hidden) {
    browser.run(
        "Object.defineProperty(document, 'hidden', { configurable: true, get: () => arguments[0] === true });"
        "document.dispatchEvent(new Event('visibilitychange'))",
        {hidden});
  };
  hide(true);
  test_unit(served, first_tile, "E-4");
  browser.run("return new Promise((done) => setTimeout(done, 300))");
  EXPECT_TRUE(browser.has(in_state(first, "waiting")));
  hide(false);
  ASSERT_TRUE(browser.comes(in_state(first, "result")));
  EXPECT_EQ(browser.text(first + " .unit-serial"), "E-4");
  // Who wants to hear a result does not see the page.
  browser.click(".sound input");
  hide(true);
  test_unit(served, second_tile, "E-5");
  EXPECT_TRUE(browser.comes(in_state(second, "result")));
  expect_no_complaints();
}

// What takes long belongs to no page: who is at the bench is answered meanwhile.
TEST(Bench, AnswersWhileFourStudiesGoOn) {
  const SmallShop shop;
  shop.write_job("a.yaml", "Two lamps", "../scenarios/short.yaml", "bench-1");
  shop.write("noise/jitter.yaml", "format: 1\nkind: noise\njitter_us: 20\n");
  const ServedShop served(shop.folder(), "--no-history --at-once");
  std::vector<std::string> studies;
  for (const char* limit : {"0.0004", "0.0003", "0.0002", "0.0001"})
    studies.push_back(std::string("/deadband?gauge=gauges%2Ftwo-lamp.yaml&noise=noise%2Fjitter.yaml&limit=") +
                      limit);
  const auto goes_on = [&](const std::string& study) {
    return served.get(study).body.find("data-errand") != std::string::npos;
  };
  for (const std::string& study : studies) EXPECT_TRUE(goes_on(study)) << served.get(study).body;
  EXPECT_THAT(served.get("/").body, HasSubstr("Two lamps"));
  served.post(std::string("/tiles/") + first_tile + "/start", "serial=TL-001");
  EXPECT_TRUE(served.comes_to(first_tile, "result"));
  for (const std::string& study : studies) EXPECT_TRUE(goes_on(study));
  const HttpAnswer fifth = served.get("/gauges/gauges/two-lamp.yaml/grade?scenario=scenarios/short.yaml");
  EXPECT_EQ(fifth.status, 503U);
  EXPECT_THAT(fifth.body, HasSubstr("The bench is busy with other long work."));
}

// More of them at once than the server has threads for pages.
TEST(Bench, AnswersWhileLargeRecordingsAreHandedIn) {
  const SmallShop shop;
  shop.write_job("a.yaml", "Two lamps", "../scenarios/short.yaml", "bench-1");
  const ServedShop served(shop.folder(), "--no-history --at-once");
  std::string form =
      "--xYx\r\nContent-Disposition: form-data; name=\"recording\"; filename=\"a.csv\"\r\n\r\ntime\n";
  for (int i = 0; form.size() < 12'000'000; ++i) form += std::to_string(0.01 * i) + "\n";
  form += "\r\n--xYx--\r\n";
  std::vector<std::future<HttpAnswer>> uploads;
  for (int i = 0; i < 4; ++i)
    uploads.push_back(std::async(std::launch::async, [&] {
      return served.post("/deadband/recordings", form,
                         {{"Content-Type", "multipart/form-data; boundary=xYx"}});
    }));
  served.post(std::string("/tiles/") + first_tile + "/start", "serial=TL-001");
  EXPECT_TRUE(served.comes_to(first_tile, "result"));
  EXPECT_THAT(served.get("/").body, HasSubstr("TL-001"));
  std::set<std::string> kept;
  for (std::future<HttpAnswer>& upload : uploads) {
    const HttpAnswer answer = upload.get();
    ASSERT_EQ(answer.status, 303U) << answer.body;
    std::string where = answer.headers.at("Location");
    EXPECT_TRUE(comes_true([&] {
      if (where.find("noise=") == where.npos) {
        const HttpAnswer now = served.get(where);
        if (now.status == 303) where = now.headers.at("Location");
      }
      return where.find("noise=") != where.npos;
    })) << where;
    kept.insert(where);
  }
  EXPECT_THAT(kept, SizeIs(4));
}

}  // namespace
}  // namespace tachproof
