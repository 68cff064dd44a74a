// The bench page's server against clients that mean no good, and its end. No browser is needed.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <signal.h>

#include <random>

#include "tests/page/hostile.h"
#include "tests/page/page_test.h"
#include "tests/page/served_shop.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::SizeIs;
using testing::StartsWith;

const std::string start_first = std::string("/tiles/") + first_tile + "/start";

class Served : public testing::Test {
 protected:
  Served() {
    shop.write_job("short.yaml", "Two lamps, up and down", "../scenarios/short.yaml", "bench-1",
                   "serial: {pattern: \"TL-[0-9]{3}\"}\n");
  }

  // A head as a browser writes it, with lines changed or added.
  std::string head(const ServedShop& served, const std::string& first_line,
                   const std::string& more = {}) const {
    return first_line + " HTTP/1.1\r\nHost: 127.0.0.1:" + std::to_string(served.port()) +
           "\r\nCookie: " + served.cookie() + "\r\n" + more + "\r\n";
  }
  void still_answers(const ServedShop& served) const {
    const HttpAnswer answer = served.get("/");
    EXPECT_EQ(answer.status, 200U);
    EXPECT_THAT(answer.body, HasSubstr("Two lamps, up and down"));
  }

  SmallShop shop;
};

TEST_F(Served, GivesTheBenchToWhoHasTheKey) {
  const ServedShop served(shop.folder());
  still_answers(served);
  const HttpAnswer answer = served.get("/");
  EXPECT_EQ(answer.headers.at("Cache-Control"), "no-store");
  EXPECT_EQ(answer.headers.at("X-Content-Type-Options"), "nosniff");
  EXPECT_THAT(answer.headers.at("Content-Security-Policy"),
              StartsWith("default-src 'none'; style-src 'self'; script-src 'self';"));
  EXPECT_THAT(answer.body, Not(HasSubstr("http://")));
}

TEST_F(Served, TurnsAwayWhoHasNeitherKeyNorCookie) {
  const ServedShop served(shop.folder());
  for (const char* target :
       {"/", "/runs", "/gauges", "/units", "/rigs", "/page.js", "/nothing",
        "/?key=aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa", "/?key=", "/tiles/rigs_bench-1/events"}) {
    const HttpAnswer answer = ask_http(served.port(), {"GET", target, "", {}});
    EXPECT_EQ(answer.status, 403U) << target;
    EXPECT_THAT(answer.body, Not(HasSubstr("Two lamps"))) << target;
    EXPECT_EQ(answer.headers.count("Set-Cookie"), 0U) << target;
  }
  const std::string key = served.address().substr(served.address().find("/?"));
  EXPECT_EQ(served.post(key, "", {{"Cookie", ""}}).status, 403U);
  EXPECT_EQ(served.post(start_first, "serial=TL-001", {{"Cookie", ""}}).status, 403U);
  EXPECT_EQ(served.post(start_first, "serial=TL-001", {{"Cookie", served.cookie() + "x"}}).status, 403U);
  EXPECT_EQ(served.state(first_tile), "waiting");
}

// A foreign name that resolves to this machine: what a page elsewhere could use.
TEST_F(Served, AnswersToItsOwnNameAlone) {
  const ServedShop served(shop.folder());
  const std::string port = ":" + std::to_string(served.port());
  for (const std::string& host :
       {std::string("bench.example"), "bench.example" + port, std::string("127.0.0.1"),
        std::string("127.0.0.1:1"), "127.0.0.1.bench.example" + port, std::string(""), "[::1]" + port,
        "0.0.0.0" + port}) {
    const HttpAnswer answer =
        ask_http(served.port(), {"GET", "/", "", {{"Host", host}, {"Cookie", served.cookie()}}});
    EXPECT_EQ(answer.status, 421U) << host;
  }
  EXPECT_EQ(
      ask_http(served.port(), {"GET", "/", "", {{"Host", "localhost" + port}, {"Cookie", served.cookie()}}})
          .status,
      200U);
  EXPECT_EQ(status_of_bytes(served.port(), "GET / HTTP/1.1\r\nCookie: " + served.cookie() + "\r\n\r\n"),
            421U);
}

TEST_F(Served, DoesNothingForAnotherSitesPage) {
  const ServedShop served(shop.folder());
  for (const char* origin :
       {"http://bench.example", "null", "https://127.0.0.1", "http://127.0.0.1", "http://127.0.0.1:1"})
    EXPECT_EQ(served.post(start_first, "serial=TL-001", {{"Origin", origin}}).status, 403U) << origin;
  EXPECT_EQ(served.post(start_first, "serial=TL-001", {{"Origin", ""}}).status, 403U);
  for (const char* site : {"cross-site", "same-site", "none"})
    EXPECT_EQ(served.post(start_first, "serial=TL-001", {{"Origin", ""}, {"Sec-Fetch-Site", site}}).status,
              403U)
        << site;
  EXPECT_EQ(served.state(first_tile), "waiting");
  EXPECT_THAT(shop.runs(), IsEmpty());
  EXPECT_EQ(
      served.post(start_first, "serial=TL-001", {{"Origin", ""}, {"Sec-Fetch-Site", "same-origin"}}).status,
      303U);
  EXPECT_TRUE(served.comes_to(first_tile, "result"));
}

TEST_F(Served, ChangesNothingForAGet) {
  const ServedShop served(shop.folder());
  for (const char* what :
       {"start?serial=TL-001", "stop", "next", "again", "answer?answer=x", "job?job=jobs/short.yaml"}) {
    EXPECT_EQ(served.get(std::string("/tiles/") + first_tile + "/" + what).status, 405U) << what;
    EXPECT_EQ(status_of_bytes(served.port(), head(served, "HEAD /tiles/rigs_bench-1/" + std::string(what))),
              405U)
        << what;
  }
  EXPECT_EQ(served.state(first_tile), "waiting");
  EXPECT_THAT(shop.runs(), IsEmpty());
}

TEST_F(Served, OpensNothingOutsideItsFolder) {
  shop.write("secret/result.json", "{}");
  shop.write("secret/report.html", "a secret");
  std::filesystem::create_directories(shop.folder() / "runs");
  std::filesystem::create_directory_symlink("/etc", shop.folder() / "runs/etc");
  std::filesystem::create_directory_symlink(shop.folder() / "secret", shop.folder() / "runs/linked");
  const ServedShop served(shop.folder());
  for (const char* target : {"/runs/..%2fsecret",
                             "/runs/%2e%2e%2fsecret",
                             "/runs/%2e%2e/secret",
                             "/runs/../secret",
                             "/../../etc/passwd",
                             "/runs/..%5csecret",
                             "/runs/%00",
                             "/runs/linked",
                             "/runs/etc",
                             "/runs/%2fetc",
                             "//etc/passwd",
                             "/runs/.",
                             "/runs/..",
                             "/runs/...",
                             "/runs/%",
                             "/runs/%zz",
                             "/runs/%c0%ae%c0%ae%2fsecret",
                             "/%2e%2e/secret/report.html",
                             "/tiles/..%2f..",
                             "/page.css/../runs"}) {
    const HttpAnswer answer = served.get(target);
    EXPECT_TRUE(answer.status == 404U || answer.status == 400U) << target << ": " << answer.status;
    EXPECT_THAT(answer.body, Not(HasSubstr("a secret"))) << target;
  }
  const std::string choose = std::string("/tiles/") + first_tile + "/job";
  for (const char* job :
       {"../outside.yaml", "/etc/passwd", "jobs/../../outside.yaml", "gauges/two-lamp.yaml", ""}) {
    served.post(choose, "job=" + std::string(job));
    EXPECT_EQ(served.state(first_tile), "waiting") << job;
    EXPECT_THAT(served.get("/").body, HasSubstr("class=\"trouble\"")) << job;
  }
  served.post(choose, "job=jobs/short.yaml");
  EXPECT_THAT(served.get("/").body, Not(HasSubstr("class=\"trouble\"")));
}

TEST_F(Served, RefusesWhatIsTooLarge) {
  const ServedShop served(shop.folder());
  EXPECT_EQ(status_of_bytes(served.port(), head(served, "GET /" + std::string(20'000, 'a'))), 431U);
  EXPECT_EQ(
      status_of_bytes(served.port(), head(served, "GET /", "X-Long: " + std::string(20'000, 'a') + "\r\n")),
      431U);
  std::string many;
  for (int i = 0; i < 2'000; ++i) many += "X-" + std::to_string(i) + ": 1\r\n";
  EXPECT_EQ(status_of_bytes(served.port(), head(served, "GET /", many)), 431U);
  const std::string own = "Origin: " + served.own_origin() + "\r\n";
  EXPECT_EQ(status_of_bytes(served.port(),
                            head(served, "POST " + start_first, own + "Content-Length: 99999999999\r\n")),
            413U);
  // A body that is announced as large is not waited for where nobody may send it.
  EXPECT_EQ(
      status_of_bytes(served.port(), "POST / HTTP/1.1\r\nHost: 127.0.0.1:" + std::to_string(served.port()) +
                                         "\r\nContent-Length: 60000000\r\n\r\n"),
      403U);
  EXPECT_EQ(served.post(start_first, "serial=" + std::string(100'000, 'T')).status, 303U);
  EXPECT_THAT(served.get("/").body,
              HasSubstr("the serial number has 100000 characters; at most 100 are allowed"));
  still_answers(served);
}

TEST_F(Served, AnswersBytesThatAreNoRequest) {
  const ServedShop served(shop.folder());
  for (const std::string& bytes :
       {std::string("\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n", 15), std::string("BREW\r\n\r\n"),
        std::string("GET\r\n\r\n"), std::string("GET / HTTP/9.9\r\n\r\n"),
        std::string("GET / FTP/1.1\r\n\r\n"), std::string("GET /\0x HTTP/1.1\r\nHost: x\r\n\r\n", 30),
        head(served, "POST /", "Content-Length: -1\r\n"),
        head(served, "POST /", "Content-Length: 1\r\nContent-Length: 2\r\n"),
        head(served, "POST /", "Transfer-Encoding: chunked\r\nOrigin: " + served.own_origin() + "\r\n") +
            "zz\r\n",
        head(served, "GET /", "No colon at all\r\n"), head(served, "GET /", "Host: twice.example\r\n")}) {
    const unsigned status = status_of_bytes(served.port(), bytes);
    EXPECT_TRUE(status == 0 || (status >= 400 && status < 500)) << status << ": " << bytes;
  }
  EXPECT_EQ(status_of_bytes(served.port(), head(served, "BREW /")), 403U);
  still_answers(served);
}

TEST_F(Served, SurvivesRandomBytes) {
  const ServedShop served(shop.folder());
  std::mt19937 random(11);
  for (int i = 0; i < 200; ++i) {
    std::string bytes = i % 2 == 0 ? head(served, "GET /runs") : std::string();
    if (i % 2 != 0) bytes.resize(1 + random() % 300);
    for (int n = 0; n < 5 || i % 2 != 0; ++n) {
      if (n >= static_cast<int>(bytes.size())) break;
      bytes[random() % bytes.size()] = static_cast<char>(random() % 256);
    }
    HostileClient client(served.port());
    client.send(bytes);
    client.close_sending();
    client.read();
  }
  still_answers(served);
}

TEST_F(Served, ShowsWhatIsTypedAsText) {
  shop.write_job("open.yaml", "\"<b>Bold</b> & <script>alert(1)</script>\"", "../scenarios/short.yaml",
                 "bench-2");
  const ServedShop served(shop.folder());
  served.post(start_first, "serial=%3Cscript%3Ealert(1)%3C%2Fscript%3E%22%27%3E%00%1b%5B2J%ff%fe%e2%80%ae");
  const std::string body = served.get("/").body;
  EXPECT_THAT(body, Not(HasSubstr("<script>alert")));
  EXPECT_THAT(body, Not(HasSubstr("<b>Bold")));
  EXPECT_THAT(body, HasSubstr("&lt;b&gt;Bold"));
  EXPECT_THAT(body, Not(HasSubstr("\x1b")));
  EXPECT_THAT(body, Not(HasSubstr(std::string(1, '\0'))));
  EXPECT_THAT(body, Not(HasSubstr("\xff")));
  EXPECT_THAT(served.get("/runs?find=%22%3E%3Cscript%3Ealert(1)").body, Not(HasSubstr("<script>alert")));
}

// A serial number goes into a folder's name: it must not lead out of runs/.
TEST_F(Served, KeepsRunsInItsFolderWhateverTheSerialNumber) {
  shop.write_job("open.yaml", "Any serial number", "../scenarios/short.yaml", "bench-2");
  const ServedShop served(shop.folder(), "--no-history --at-once");
  const std::string start = std::string("/tiles/") + second_tile + "/start";
  for (const char* serial : {"..%2f..%2fout", "%2fetc%2fx", "..", "%00", "a%0ab", "-", "%ff%fe"}) {
    served.post(start, "serial=" + std::string(serial));
    EXPECT_TRUE(comes_true([&] {
      const std::string state = served.state(second_tile);
      return state == "result" || state == "waiting";
    })) << serial;
  }
  for (const std::string& run : shop.runs()) EXPECT_THAT(run, Not(StartsWith(".."))) << run;
  EXPECT_FALSE(std::filesystem::exists(shop.folder() / "out"));
  EXPECT_FALSE(std::filesystem::exists(shop.folder().parent_path() / "out"));
}

TEST_F(Served, EndsAClientThatNeverFinishesItsRequest) {
  const ServedShop served(shop.folder());
  HostileClient half(served.port()), silent(served.port()), body(served.port());
  half.send("GET / HTTP/1.1\r\nHost: ");
  body.send(
      head(served, "POST " + start_first, "Origin: " + served.own_origin() + "\r\nContent-Length: 20\r\n") +
      "ser");
  still_answers(served);
  EXPECT_TRUE(half.is_closed());
  EXPECT_TRUE(silent.is_closed());
  EXPECT_TRUE(body.is_closed());
  EXPECT_EQ(served.state(first_tile), "waiting");
}

TEST_F(Served, BearsTwoHundredConnectionsWhileARunGoesOn) {
  const ServedShop served(shop.folder());
  served.post(start_first, "serial=TL-001");
  {
    std::vector<HostileClient> crowd;
    for (int i = 0; i < 200; ++i) {
      crowd.emplace_back(served.port());
      crowd.back().send(head(served, i % 2 == 0 ? "GET /tiles/rigs_bench-1/events" : "GET /"));
    }
    std::size_t answered = 0;
    for (HostileClient& one : crowd) answered += one.status() == 200 ? 1 : 0;
    EXPECT_GE(answered, 100U);
    EXPECT_TRUE(comes_true(
        [&] { return shop.runs().size() == 1 && shop.result(shop.runs()[0])["complete"] == true; }));
    for (HostileClient& one : crowd) one.reset();
  }
  EXPECT_TRUE(comes_true([&] {
    try {
      return served.state(first_tile) == "result";
    } catch (const std::exception&) {
      return false;  // the crowd is still going
    }
  }));
  EXPECT_EQ(shop.result(shop.runs()[0])["verdict"], "pass");
}

// Listens, and never reads: what is told to it must not be kept for it without end, nor hold the run up.
TEST_F(Served, IsNotHeldUpByAListenerThatDoesNotRead) {
  const ServedShop served(shop.folder());
  std::vector<HostileClient> deaf;
  for (int i = 0; i < 10; ++i) {
    deaf.emplace_back(served.port());
    deaf.back().send(head(served, "GET /tiles/rigs_bench-1/events"));
  }
  served.post(start_first, "serial=TL-001");
  EXPECT_TRUE(served.comes_to(first_tile, "result"));
  EXPECT_EQ(shop.result(shop.runs().at(0))["verdict"], "pass");
}

// More rigs than a browser opens connections to one server: their live strips must leave it one to start a
// run with.
TEST_F(Served, TellsAllThatIsLiveToOneListener) {
  const ServedShop served(shop.folder());
  HostileClient listener(served.port());
  listener.send(head(served, "GET /events"));
  EXPECT_EQ(listener.status(), 200U);
}

TEST_F(Served, GoesOnWithARunWhoseBrowserHasGone) {
  const ServedShop served(shop.folder());
  HostileClient listener(served.port());
  listener.send(head(served, "GET /tiles/rigs_bench-1/events"));
  served.post(start_first, "serial=TL-001");
  listener.status();
  listener.reset();
  EXPECT_TRUE(served.comes_to(first_tile, "result"));
  ASSERT_THAT(shop.runs(), SizeIs(1));
  EXPECT_EQ(shop.result(shop.runs()[0])["verdict"], "pass");
}

class Ended : public Served {
 protected:
  Ended() { shop.write_job("short.yaml", "Endless", "../scenarios/endless.yaml", "bench-1"); }
  std::string begun(const ServedShop& served) {
    served.post(start_first, "serial=TL-001");
    EXPECT_TRUE(served.comes_to(first_tile, "running"));
    EXPECT_TRUE(comes_true([&] { return shop.runs().size() == 1; }));
    EXPECT_TRUE(makes_progress(shop.folder() / "runs" / shop.runs()[0] / "journal.jsonl"));
    return shop.runs()[0];
  }
  int report_of(const std::string& run) {
    return run_process(command_line("report runs/" + run), shop.folder()).status;
  }
};

TEST_F(Ended, ByAKillLeavesItsRunsAsKilledRuns) {
  std::string run;
  {
    ServedShop served(shop.folder());
    run = begun(served);
    served.program().signal(SIGKILL);
    EXPECT_EQ(served.program().wait(), 128 + SIGKILL);
  }
  EXPECT_EQ(shop.result(run)["verdict"], "undecided");
  EXPECT_EQ(shop.result(run)["complete"], false);
  EXPECT_EQ(report_of(run), 3);
  const ServedShop again(shop.folder());
  EXPECT_EQ(again.state(first_tile), "waiting");
  EXPECT_EQ(again.get("/runs/" + run).status, 200U);
  EXPECT_THAT(again.get("/runs").body, HasSubstr(run));
}

TEST_F(Ended, ByCtrlCOrSigtermClosesItsRuns) {
  for (const int number : {SIGINT, SIGTERM}) {
    std::filesystem::remove_all(shop.folder() / "runs");
    ServedShop served(shop.folder());
    const std::string run = begun(served);
    served.program().signal(number);
    EXPECT_EQ(served.program().wait(), 0);
    EXPECT_THAT(served.program().err(), HasSubstr("Stopping 1 run"));
    EXPECT_EQ(shop.result(run)["verdict"], "undecided");
    EXPECT_EQ(shop.result(run)["complete"], false);
    EXPECT_THAT(shop.result(run)["findings"].dump(), HasSubstr("stopped"));
    EXPECT_EQ(run_process(command_line("report runs/" + run + " --verify"), shop.folder()).status, 3);
  }
}

TEST_F(Ended, ByStopKeepsWhatWasMeasured) {
  const ServedShop served(shop.folder());
  const std::string run = begun(served);
  served.post(std::string("/tiles/") + first_tile + "/stop", "");
  EXPECT_TRUE(served.comes_to(first_tile, "result"));
  EXPECT_THAT(shop.result(run)["findings"].dump(), HasSubstr("the run was stopped at the bench page"));
}

}  // namespace
}  // namespace tachproof
