#include "tests/page/places_client.h"

namespace tachproof {
namespace {

using testing::AllOf;
using testing::HasSubstr;
using testing::Not;

class RigsPlace : public PlacesClient {
 protected:
  RigsPlace() {
    for (const char* gauge : {"drumlin.yaml", "tarn.yaml"})
      copy(std::string("fixtures/gauges/") + gauge, std::string("gauges/") + gauge);
    for (const char* rig : {"simulated.yaml", "simulated-faulty.yaml", "board.yaml", "generator.yaml"})
      copy(std::string("fixtures/rigs/") + rig, std::string("rigs/") + rig);
  }
  TileView at_work(const std::string& rig) {
    TileView tile;
    tile.state = TileView::State::running;
    tile.rig = rig;
    tile.serial = "DR-0042";
    return tile;
  }
};

TEST_F(RigsPlace, ListsEachWithWhatIsThere) {
  write("jobs/drumlin.yaml",
        "format: 1\nkind: job\nname: Drumlin at the bench\ngauge: ../gauges/drumlin.yaml\nplay: plan\nrig: "
        "../rigs/simulated.yaml\n");
  const std::string page = get("/rigs").body;
  EXPECT_THAT(page,
              AllOf(HasSubstr("/rigs/rigs/board.yaml"), HasSubstr("usb-tachproof_board-if00 is not there"),
                    HasSubstr("in software: always there"), HasSubstr("Drumlin at the bench"),
                    HasSubstr("a signal generator"), HasSubstr("What is connected")));
}

TEST_F(RigsPlace, ABadRigFileSaysWhatIsWrong) {
  write("rigs/bad.yaml", "format: 1\nkind: rig\nsource: {kind: \"<b>steam</b>\"}\n");
  EXPECT_THAT(get("/rigs").body, HasSubstr("the file cannot be read"));
  EXPECT_THAT(get("/rigs/rigs/bad.yaml").body, AllOf(HasSubstr("bad.yaml:3"), Not(HasSubstr("<b>steam"))));
  EXPECT_EQ(post("/rigs/rigs/bad.yaml/lamp-test", "gauge=gauges/drumlin.yaml").status, 409U);
}

TEST_F(RigsPlace, DrawsTheWiring) {
  EXPECT_THAT(
      get("/rigs/rigs/board.yaml").body,
      AllOf(HasSubstr(">in0<"), HasSubstr(">left white<"), HasSubstr("7 lamp colours are wired"),
            HasSubstr("fill=\"magenta\""), HasSubstr("fused supply"), HasSubstr("Look at the inputs")));
  EXPECT_THAT(get("/rigs/rigs/generator.yaml").body,
              AllOf(HasSubstr("GPIO17"), HasSubstr("oscilloscope"), HasSubstr("optocouplers")));
  EXPECT_THAT(
      get("/rigs/rigs/simulated.yaml").body,
      AllOf(HasSubstr("sees all"), Not(HasSubstr("Look at the inputs")), Not(HasSubstr("fused supply"))));
}

TEST_F(RigsPlace, TheLampTestSaysWindowAndWire) {
  const std::string here = "/rigs/rigs/simulated.yaml/lamp-test";
  EXPECT_EQ(get(here).status, 303U) << "nothing was tested yet";
  EXPECT_EQ(post(here, "gauge=gauges/drumlin.yaml").status, 303U);
  EXPECT_THAT(outcome(here),
              AllOf(HasSubstr("<strong>PASS</strong>"), HasSubstr("Wire by wire"), HasSubstr("left white"),
                    HasSubstr("Window by window"), HasSubstr("over-rev"), Not(HasSubstr(">FAIL</b>"))));
}

TEST_F(RigsPlace, ALampThatIsDarkIsAskedFor) {
  write("rigs/dark.yaml",
        "format: 1\nkind: rig\nsource: {kind: simulated}\nwatch: {kind: simulated, unit: "
        "../gauges/drumlin.yaml, "
        "behaviour: {faults: [{kind: stuck-off, lamp: top, colour: magenta}]}}\n");
  const std::string here = "/rigs/rigs/dark.yaml/lamp-test";
  ASSERT_EQ(post(here, "gauge=gauges/drumlin.yaml").status, 303U)
      << post(here, "gauge=gauges/drumlin.yaml").body;
  std::string page;
  for (int i = 0; i < 1000 && page.find("class=\"question\"") == page.npos; ++i) {
    std::this_thread::sleep_for(std::chrono::milliseconds(10));
    page = get(here).body;
  }
  EXPECT_THAT(page, AllOf(HasSubstr("Is top magenta lit now?"), HasSubstr("window shift"),
                          HasSubstr(here + "/answer")));
  EXPECT_THAT(get("/rigs").body, HasSubstr("at this page: lamp test"));
  EXPECT_EQ(post(here, "gauge=gauges/drumlin.yaml").status, 409U) << "one at a time";
  post(here + "/answer", "answer=no");
  EXPECT_THAT(outcome(here), AllOf(HasSubstr("<strong>FAIL</strong>"), HasSubstr("The lamp stays dark")));
}

TEST_F(RigsPlace, ALampTestIsStopped) {
  write("rigs/dark.yaml",
        "format: 1\nkind: rig\nsource: {kind: simulated}\nwatch: {kind: simulated, unit: "
        "../gauges/drumlin.yaml, "
        "behaviour: {faults: [{kind: stuck-off, lamp: top, colour: magenta}]}}\n");
  const std::string here = "/rigs/rigs/dark.yaml/lamp-test";
  post(here, "gauge=gauges/drumlin.yaml");
  EXPECT_EQ(post(here + "/stop").status, 303U);
  EXPECT_THAT(outcome(here), Not(HasSubstr("<strong>PASS")));
}

TEST_F(RigsPlace, NeverOpensWhatATileIsUsing) {
  tiles_ = {at_work("rigs/simulated.yaml")};
  EXPECT_THAT(get("/rigs").body, HasSubstr("In use</b> at this page: tests DR-0042"));
  const Response refused = post("/rigs/rigs/simulated.yaml/lamp-test", "gauge=gauges/drumlin.yaml");
  EXPECT_EQ(refused.status, 409U);
  EXPECT_THAT(refused.body, HasSubstr("The bench is at work with this rig: it tests DR-0042."));
  EXPECT_EQ(get("/rigs/rigs/simulated.yaml/lamp-test").status, 303U) << "nothing was begun";
  tiles_[0].state = TileView::State::waiting;
  EXPECT_EQ(post("/rigs/rigs/simulated.yaml/lamp-test", "gauge=gauges/drumlin.yaml").status, 303U);
}

TEST_F(RigsPlace, NorADeviceThatATileHasByAnotherFile) {
  copy("fixtures/rigs/board.yaml", "rigs/same-board.yaml");
  tiles_ = {at_work("rigs/board.yaml")};
  EXPECT_THAT(post("/rigs/rigs/same-board.yaml/levels").body,
              HasSubstr("The bench is at work with this rig"));
  EXPECT_EQ(post("/rigs/rigs/simulated.yaml/lamp-test", "gauge=gauges/drumlin.yaml").status, 303U);
}

TEST_F(RigsPlace, WhatIsMissingIsSaid) {
  const std::string here = "/rigs/rigs/board.yaml/levels";
  EXPECT_EQ(post(here).status, 303U);
  EXPECT_THAT(outcome(here), AllOf(HasSubstr("class=\"trouble\""), HasSubstr("usb-tachproof_board-if00")));
  EXPECT_THAT(post("/rigs/rigs/simulated.yaml/lamp-test").body, HasSubstr("Choose the gauge"));
  EXPECT_THAT(post("/rigs/rigs/simulated.yaml/lamp-test", "gauge=../../etc/passwd").body,
              HasSubstr("Choose the gauge"));
  EXPECT_THAT(post("/rigs/rigs/simulated.yaml/levels").body, HasSubstr("no inputs"));
}

TEST_F(RigsPlace, OnlyRigFilesOfTheFolder) {
  for (const char* path : {"/rigs/gauges/drumlin.yaml", "/rigs/nothing.yaml", "/rigs/../rigs/board.yaml",
                           "/rigs/rigs", "/rigs/rigs/board.yaml/other", "/rigs/etc/passwd"})
    EXPECT_EQ(get(path).status, 404U) << path;
}

}  // namespace
}  // namespace tachproof
