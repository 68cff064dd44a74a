#include <nlohmann/json.hpp>

#include "bench/page/run_folders.h"
#include "tests/page/places_client.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using testing::AllOf;
using testing::HasSubstr;
using testing::Not;

class RunsPlace : public PlacesClient {};

TEST_F(RunsPlace, ListsWhatTheHistoryKnows) {
  make({});
  Made failed;
  failed.name = "20310315-101500-survey-DR-0042";
  failed.unit = "DR-0042";
  failed.started = "2031-03-15T10:15:00+01:00";
  failed.scenario = "survey";
  failed.verdict = Verdict::fail;
  failed.watch = "simulated";
  make(failed);
  const std::string page = get("/runs").body;
  EXPECT_THAT(page, AllOf(HasSubstr("2 runs."), HasSubstr("2031-03-14 09:26:53"),
                          HasSubstr("/runs/20310315-101500-survey-DR-0042"), HasSubstr("/units/DR-0042"),
                          HasSubstr(">FAIL</b>"), HasSubstr(">PASS</b>")));
  EXPECT_EQ(times(page, "SIMULATED"), 1U) << "only the run of software is one";
  EXPECT_LT(page.find("DR-0042"), page.find("DR-0117")) << "the newest comes first";
}

// Nobody listens in that folder: a server that is away.
TEST_F(RunsPlace, AServerThatIsAwayHidesNoRun) {
  make({});
  const std::string run = "/runs/20310314-092653-acceptance-DR-0117";
  ASSERT_EQ(get(run).status, 200U);
  settings_.history = "postgresql:///bench?host=" + (temporary_.path() / "nobody").string();
  open();
  const Response list = get("/runs");
  EXPECT_EQ(list.status, 200U);
  EXPECT_THAT(list.body, AllOf(HasSubstr("The history cannot be read"), HasSubstr("Testing goes on"),
                               HasSubstr("By name"), HasSubstr(run), Not(HasSubstr("--add"))));
  EXPECT_EQ(get(run).status, 200U);
  EXPECT_THAT(get(run).body, HasSubstr("not known whether it is one"));
  for (const char* place : {"/units", "/units/DR-0117"}) {
    const Response units = get(place);
    EXPECT_EQ(units.status, 503U) << place;
    EXPECT_THAT(units.body, HasSubstr("The history cannot be read")) << place;
  }
}

TEST_F(RunsPlace, FiltersAreInTheAddress) {
  make({});
  Made failed;
  failed.name = "20310315-101500-survey-DR-0042";
  failed.unit = "DR-0042";
  failed.started = "2031-03-15T10:15:00+01:00";
  failed.gauge = "Esker";
  failed.scenario = "survey";
  failed.verdict = Verdict::fail;
  make(failed);
  for (const char* only : {"unit=DR-0042", "gauge=Esker", "scenario=survey", "verdict=fail",
                           "since=2031-03-15", "find=dr-0042", "find=101500", "unit=DR-0042&verdict=fail"})
    EXPECT_THAT(get("/runs?" + std::string(only)).body,
                AllOf(HasSubstr("1 run as asked for."), HasSubstr("20310315-101500-survey-DR-0042"),
                      Not(HasSubstr("20310314-092653"))))
        << only;
  EXPECT_THAT(get("/runs?unit=DR-0042&verdict=pass").body, HasSubstr("0 runs as asked for."));
  EXPECT_EQ(get("/runs?since=2031-02-30").status, 400U);
  EXPECT_THAT(get("/runs?since=yesterday").body, HasSubstr("is no day: write a date as YYYY-MM-DD"));
  EXPECT_THAT(get("/runs?verdict=good").body, HasSubstr("it is pass, fail or undecided"));
}

TEST_F(RunsPlace, FiftyStandOnAPage) {
  make({});
  Made made;
  for (int i = 0; i < 60; ++i) {
    made.name = "20310401-0800" + std::to_string(10 + i % 50) + "-acceptance-" + std::to_string(i);
    made.unit = "U" + std::to_string(i);
    made.started = "2031-04-01T08:" + std::to_string(10 + i % 50) + ":00+01:00";
    make(made);
  }
  const std::string first = get("/runs").body, second = get("/runs?page=2").body;
  EXPECT_EQ(times(first, "type=\"checkbox\""), 50U);
  EXPECT_EQ(times(second, "type=\"checkbox\""), 11U);
  EXPECT_THAT(first, AllOf(HasSubstr("Page 1 of 2"), HasSubstr("page=2"), Not(HasSubstr("Newer"))));
  EXPECT_THAT(second, AllOf(HasSubstr("DR-0117"), HasSubstr("Newer"), Not(HasSubstr("Older"))));
  EXPECT_THAT(get("/runs?page=999").body, HasSubstr("Page 2 of 2"));
  EXPECT_THAT(get("/runs?page=-1").body, HasSubstr("Page 1 of 2"));
  EXPECT_THAT(get("/runs?verdict=pass").body, HasSubstr("?verdict=pass&amp;page=2"));
}

TEST_F(RunsPlace, WhatIsInNoHistoryIsListedByItsName) {
  Made made;
  made.in_history = false;
  make(made);
  made.name = "20310314-100000-job-DR-0117/1-acceptance";
  make(made);
  const std::string page = get("/runs").body;
  EXPECT_THAT(page,
              AllOf(HasSubstr("0 runs."), HasSubstr("In no history"),
                    HasSubstr("/runs/20310314-092653-acceptance-DR-0117"),
                    HasSubstr("/runs/20310314-100000-job-DR-0117/1-acceptance"), Not(HasSubstr(">PASS</b>"))))
      << "nobody has read its result, so that nobody says its verdict";
  EXPECT_THAT(get("/runs?verdict=pass").body, Not(HasSubstr("In no history")));
  settings_.no_history = true;
  open();
  EXPECT_THAT(get("/runs").body, HasSubstr("2 runs are not in the history"));
}

TEST_F(RunsPlace, ARunThatIsNotCompleteIsNoPass) {
  drumlin::Run run = drumlin::small();
  run.record.inputs.clear();
  run.record.result.complete = false;
  run.record.result.verdict = Verdict::pass;
  const auto folder = shop_.runs() / "20310314-092653-cut";
  RunFolder::create(folder, run.record, run_pages).finish(run.record, run.trace);
  History(settings_.history, History::Open::make).add(folder);
  EXPECT_THAT(get("/runs").body, AllOf(HasSubstr("UNDECIDED"), Not(HasSubstr(">PASS</b>"))));
  EXPECT_THAT(get("/runs?verdict=pass").body, HasSubstr("0 runs"));
  EXPECT_THAT(get("/runs?verdict=undecided").body, HasSubstr("1 run as asked for."));
  EXPECT_THAT(get("/runs/20310314-092653-cut").body, HasSubstr("did not get to its end"));
}

TEST_F(RunsPlace, AFolderThatIsGoneHasNoLink) {
  std::filesystem::remove_all(make({}));
  EXPECT_THAT(get("/runs").body, AllOf(HasSubstr("its folder is gone"), Not(HasSubstr("href=\"/runs/2031"))));
}

TEST_F(RunsPlace, NamesAreTextWhateverIsInThem) {
  Made made;
  made.name = "20310314-092653-a \"quoted\" <b>name</b> & 50%";
  made.unit = "\"><script>alert(1)</script>";
  made.gauge = "g'\"<i>";
  made.scenario = "bad \xff\xfe bytes";
  make(made);
  made.name = "20310314-092654-\xff-<u>";
  made.in_history = false;
  make(made);
  const std::string page = get("/runs?find=%22%3E%3Cscript%3E").body + get("/runs").body;
  EXPECT_THAT(page, AllOf(Not(HasSubstr("<script>alert")), Not(HasSubstr("<b>name")), Not(HasSubstr("<i>")),
                          Not(HasSubstr("<u>")), Not(HasSubstr("\xff"))));
  const std::string address = "/runs/20310314-092653-a%20%22quoted%22%20%3Cb%3Ename%3C%2Fb%3E%20%26%2050%25";
  EXPECT_THAT(page, HasSubstr("20310314-092653-a%20%22quoted%22%20%3Cb%3Ename%3C/b%3E%20%26%2050%25"));
  EXPECT_EQ(get("/runs/20310314-092653-a%20%22quoted%22%20%3Cb%3Ename%3C/b%3E%20%26%2050%25").status, 200U);
  EXPECT_EQ(get("/runs/20310314-092654-%FF-%3Cu%3E").status, 200U);
  EXPECT_EQ(get(address).status, 404U) << "a part of a path has no slash";
}

TEST_F(RunsPlace, ARunsPageSaysItsVerdictAndGivesItsFiles) {
  make({});
  const std::string here = "/runs/20310314-092653-acceptance-DR-0117";
  const std::string page = get(here).body;
  EXPECT_THAT(page, AllOf(HasSubstr("<strong>PASS</strong>"), HasSubstr(here + "/report"),
                          HasSubstr(here + "/verify"), HasSubstr(here + "/accept"),
                          HasSubstr(here + "/files/result.json")));
  const Response report = get(here + "/report");
  EXPECT_EQ(report.body, read_file(shop_.runs() / "20310314-092653-acceptance-DR-0117" / "report.html"));
  EXPECT_EQ(report.headers.at(0).first, "X-Report");
  const Response file = get(here + "/files/result.json");
  EXPECT_EQ(file.status, 200U);
  EXPECT_EQ(file.type, "application/octet-stream");
  EXPECT_THAT(file.headers.at(0).second, HasSubstr("attachment"));
}

TEST_F(RunsPlace, NothingOutsideOfTheFolderIsGiven) {
  const auto folder = make({});
  write("secret.yaml", "a secret");
  std::filesystem::create_symlink(shop_.folder() / "secret.yaml", folder / "link.yaml");
  std::filesystem::create_directory_symlink(shop_.folder(), shop_.runs() / "away");
  std::filesystem::create_directories(shop_.folder() / "other" / "runs");
  const std::string here = "/runs/20310314-092653-acceptance-DR-0117";
  for (const std::string& path :
       {here + "/files/link.yaml", here + "/files/..", here + "/files/%2e%2e",
        here + "/files/..%2Fsecret.yaml", here + "/files/nothing", here + "/../../secret.yaml",
        std::string("/runs/away"), std::string("/runs/.."), std::string("/runs/%2e%2e/secret.yaml"),
        std::string("/runs/away/files/secret.yaml"), here + "/files", here + "/other"}) {
    const Response answer = get(path);
    EXPECT_EQ(answer.status, 404U) << path;
    EXPECT_THAT(answer.body, Not(HasSubstr("a secret"))) << path;
  }
  EXPECT_THAT(get("/runs").body, Not(HasSubstr("away")));
}

TEST_F(RunsPlace, TwoRunsAreComparedOlderFirst) {
  make({});
  Made later;
  later.name = "20310401-080000-acceptance-DR-0117";
  later.started = "2031-04-01T08:00:00+01:00";
  make(later);
  const Response ticked = get("/runs/compare?run=" + later.name + "&run=20310314-092653-acceptance-DR-0117");
  EXPECT_EQ(ticked.status, 303U);
  const std::string to = ticked.headers.at(0).second;
  EXPECT_EQ(to, "/runs/compare?old=20310314-092653-acceptance-DR-0117&new=" + later.name);
  const Response page = answer_of(to);
  EXPECT_EQ(page.status, 200U);
  EXPECT_EQ(page.headers.at(0).first, "X-Report");
  EXPECT_THAT(get("/runs/compare?run=" + later.name).body, HasSubstr("Tick two runs"));
  EXPECT_THAT(get("/runs/compare").body, HasSubstr("Tick two runs"));
  EXPECT_EQ(get("/runs/compare?old=none&new=" + later.name).status, 404U);
  EXPECT_EQ(get("/runs/compare?old=..&new=" + later.name).status, 404U);
}

// The list of folders is remembered while nothing there has been written for a while.
TEST_F(RunsPlace, WhatComesLaterIsListedHoweverOldTheRestIs) {
  Made first, second;
  first.in_history = second.in_history = false;
  second.name = "20310401-080000-acceptance-DR-0118";
  make(first);
  std::filesystem::create_directories(shop_.runs() / "20310402-080000-job/1-acceptance");
  Made in_history;
  in_history.name = "20310403-080000-acceptance-DR-0119";
  in_history.unit = "DR-0119";
  make(in_history);
  const auto long_ago = std::filesystem::file_time_type::clock::now() - std::chrono::hours(1);
  const auto age = [&] {
    for (const auto& path :
         {shop_.runs(), std::filesystem::path(settings_.history), shop_.runs() / "20310402-080000-job"})
      std::filesystem::last_write_time(path, long_ago);
  };
  age();
  for (int i = 0; i < 2; ++i) EXPECT_THAT(get("/runs").body, HasSubstr("<p>1 run is not in the history"));
  make(second);
  EXPECT_THAT(get("/runs").body, HasSubstr("<p>2 runs are not in the history"));
  age();
  EXPECT_THAT(get("/runs").body, HasSubstr("<p>2 runs are not in the history"));
  write("runs/20310402-080000-job/1-acceptance/result.json", "{}");
  write("runs/20310402-080000-job/2-survey/result.json", "{}");
  EXPECT_THAT(get("/runs").body, HasSubstr("<p>4 runs are not in the history"));
  age();
  EXPECT_THAT(get("/runs").body, HasSubstr("<p>4 runs are not in the history"));
  History(settings_.history, History::Open::existing).add(shop_.runs() / second.name);
  EXPECT_THAT(get("/runs").body, HasSubstr("<p>3 runs are not in the history"));
}

// A real one, with its evidence.
class PlayedRuns : public RunsPlace {
 protected:
  std::string play(const std::string& rig, const std::string& name) {
    const std::string root = TACHPROOF_SOURCE_DIR;
    run_process(
        {TACHPROOF_PROGRAM, "run", root + "/scenarios/acceptance.yaml", "--gauge",
         root + "/fixtures/gauges/drumlin.yaml", "--rig", root + "/fixtures/rigs/" + rig, "--unit-serial",
         "DR-0042", "--out", (shop_.runs() / name).string(), "--history", settings_.history},
        shop_.folder());
    return "/runs/" + name;
  }
};

TEST_F(PlayedRuns, AreVerifiedNow) {
  const std::string here = play("simulated.yaml", "good");
  EXPECT_EQ(post(here + "/verify").headers.at(0).second, here + "/verify");
  EXPECT_THAT(outcome(here + "/verify"),
              AllOf(HasSubstr("<strong>VERIFIED</strong>"), Not(HasSubstr("DIFFERS"))));
  const auto result = shop_.runs() / "good" / "result.json";
  std::string text = read_file(result);
  text.replace(text.find("DR-0042"), 7, "DR-0043");
  write_file(result, text);
  post(here + "/verify");
  EXPECT_THAT(outcome(here + "/verify"), AllOf(HasSubstr("NOT VERIFIED"), HasSubstr("DIFFERS")));
}

TEST_F(PlayedRuns, BecomeTheReferenceOnceTheyAreVerified) {
  const std::string here = play("simulated.yaml", "good");
  EXPECT_THAT(post(here + "/accept", "who=&why=first").body, HasSubstr("Write who accepts the run, and why"));
  EXPECT_EQ(post(here + "/accept", "who=Corrie&why=first+article").status, 303U);
  EXPECT_THAT(outcome(here + "/accept"), HasSubstr("It is the reference for unit DR-0042."));
  const auto reference = History(settings_.history, History::Open::existing).reference("DR-0042");
  ASSERT_TRUE(reference.has_value());
  EXPECT_EQ(reference->acceptance.who, "Corrie");
  EXPECT_THAT(get(here).body, HasSubstr("accepted by Corrie"));
  EXPECT_THAT(get("/units/DR-0042").body, HasSubstr("first article"));
}

TEST_F(PlayedRuns, AFailIsNoReferenceUnlessAPersonSaysSo) {
  const std::string here = play("simulated-faulty.yaml", "bad");
  EXPECT_THAT(get(here).body, AllOf(HasSubstr("<strong>FAIL</strong>"), HasSubstr("class=\"cause\"")));
  const Response refused = post(here + "/accept", "who=Corrie&why=it+is+mine");
  EXPECT_EQ(refused.status, 422U);
  EXPECT_THAT(refused.body, AllOf(HasSubstr("its verdict is fail"), HasSubstr("value=\"it is mine\"")));
  EXPECT_FALSE(History(settings_.history, History::Open::existing).reference("DR-0042").has_value());
  post(here + "/accept", "who=Corrie&why=it+is+mine&even_so=yes");
  EXPECT_THAT(outcome(here + "/accept"), HasSubstr("It is the reference"));
}

TEST_F(PlayedRuns, ARunThatWasChangedIsNoReference) {
  const std::string here = play("simulated.yaml", "good");
  const auto timeline = shop_.runs() / "good" / "timeline.csv";
  write_file(timeline, read_file(timeline) + "999.000000000,1,1,1,1,1,1,1\n");
  const Response answer = post(here + "/accept", "who=Corrie&why=first&even_so=yes");
  if (answer.status == 303U)
    EXPECT_THAT(outcome(here + "/accept"), HasSubstr("It is not accepted"));
  else
    EXPECT_EQ(answer.status, 422U);
  EXPECT_FALSE(History(settings_.history, History::Open::existing).reference("DR-0042").has_value());
}

TEST_F(PlayedRuns, AFolderIsLookedIntoAgainWhenItChanges) {
  RunFolders folders(shop_);
  const auto names_without = [&](const RunFolders::Known& known) {
    return folders.names({}, [&] { return known; }).runs;
  };
  EXPECT_TRUE(names_without({}).empty());
  Made made;
  made.in_history = false;
  made.name = "job/1-acceptance";
  make(made);
  EXPECT_EQ(names_without({}), (std::vector<std::string>{"job/1-acceptance"}));
  made.name = "job/2-survey";
  make(made);
  EXPECT_EQ(names_without({}), (std::vector<std::string>{"job/2-survey", "job/1-acceptance"}));
  EXPECT_EQ(names_without({"job/1-acceptance"}), (std::vector<std::string>{"job/2-survey"}));
}

TEST(RunNames, BeginWithTheirMoment) {
  EXPECT_EQ(moment_in_name("20310314-142501-plan"), "2031-03-14 14:25:01");
  EXPECT_EQ(moment_in_name("20310314-142501"), "2031-03-14 14:25:01");
  for (const char* none : {"", "good", "2031-0314-142501", "20310314-14250", "20310314x142501-plan"})
    EXPECT_EQ(moment_in_name(none), "") << none;
}

}  // namespace
}  // namespace tachproof
