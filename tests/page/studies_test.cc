// Long work with an address: started by who asks first, shown to all who ask.
#include "bench/page/studies.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <atomic>
#include <thread>

#include "bench/files/files.h"

namespace tachproof {
namespace {

using testing::AllOf;
using testing::HasSubstr;
using testing::Not;

class Studies : public testing::Test {
 protected:
  Studies() { errands_.add_routes(router_); }

  // Work that lasts until `open_` is set, or until it is stopped.
  std::string lasting(Errand& errand) {
    ++begun_;
    errand.phase("It lasts.");
    while (!open_) {
      stop_where_asked(errand);
      std::this_thread::sleep_for(std::chrono::milliseconds(1));
    }
    if (throws_) throw std::runtime_error("the disk is full");
    return "<p>what came of it</p>";
  }
  Response ask(const std::string& key, const std::string& query = {}) {
    Request request;
    request.query = Fields::of(query);
    const StudyPage page{key, "/study?of=" + key, "/gauges", "Study of " + key, "<p>above</p>"};
    return study(
        errands_, request, page, [this](Errand& errand) { return lasting(errand); },
        [](const std::string& html) { return plain_text("shown: " + html, "text/html"); });
  }
  Response outcome(const std::string& key) {
    for (;;) {
      Response now = ask(key);
      if (now.body.find("data-errand") == now.body.npos) return now;
    }
  }
  Response stop(int number) {
    Request request;
    request.method = "POST";
    request.path = "/errands/" + std::to_string(number) + "/stop";
    return router_(request);
  }

  std::atomic<int> begun_ = 0;
  std::atomic<bool> open_ = false, throws_ = false;
  Router router_;
  Errands errands_;
};

TEST_F(Studies, SayHowFarTheyAreAndThenWhatCameOfThem) {
  EXPECT_THAT(ask("a").body,
              AllOf(HasSubstr("Study of a"), HasSubstr("<p>above</p>"), HasSubstr("data-errand=\"1\""),
                    HasSubstr("It lasts."), HasSubstr("/errands/1/stop"), Not(HasSubstr("shown"))));
  open_ = true;
  EXPECT_EQ(outcome("a").body, "shown: <p>what came of it</p>");
  EXPECT_EQ(ask("a").body, "shown: <p>what came of it</p>");
  EXPECT_EQ(begun_, 1);
}

TEST_F(Studies, AreShownAtOnceWhereTheyAreShort) {
  open_ = true;
  EXPECT_THAT(outcome("a").body, HasSubstr("shown"));
}

TEST_F(Studies, OfOtherThingsAreOthers) {
  open_ = true;
  outcome("a");
  outcome("b");
  EXPECT_EQ(begun_, 2);
}

TEST_F(Studies, ThatFailSaySoUntilSomebodyTriesAgain) {
  throws_ = open_ = true;
  const Response failed = outcome("a");
  EXPECT_EQ(failed.status, 422U);
  EXPECT_THAT(failed.body, AllOf(HasSubstr("the disk is full."), HasSubstr("/study?of=a&amp;anew=1"),
                                 Not(HasSubstr("shown"))));
  ask("a");
  EXPECT_EQ(begun_, 1);
  throws_ = false;
  EXPECT_EQ(ask("a", "anew=1").headers.at(0).second, "/study?of=a");
  EXPECT_EQ(outcome("a").body, "shown: <p>what came of it</p>");
  // A second press of the same key finds the new one.
  ask("a", "anew=1");
  EXPECT_EQ(begun_, 2);
}

TEST_F(Studies, CanBeStopped) {
  ask("a");
  const Response stopped = stop(1);
  EXPECT_EQ(stopped.status, 303U);
  EXPECT_EQ(stopped.headers.at(0).second, "/study?of=a");
  EXPECT_THAT(outcome("a").body, HasSubstr("Nothing came of it: it was stopped at the bench page."));
  EXPECT_EQ(stop(7).status, 404U);
}

TEST_F(Studies, AreRefusedWhereTooManyGoOn) {
  for (const char* key : {"a", "b", "c", "d"}) EXPECT_EQ(ask(key).status, 200U);
  const Response busy = ask("e");
  EXPECT_EQ(busy.status, 503U);
  EXPECT_THAT(busy.body, HasSubstr("busy with other long work"));
  EXPECT_EQ(ask("a").status, 200U);
  EXPECT_EQ(begun_, 4);
}

TEST_F(Studies, SayTheErrorsOfAFileLineByLine) {
  const StudyPage page{"a", "/study", "/gauges", "Study", ""};
  const auto does = [](Errand&) -> std::string {
    throw FileErrors({{"noise/<a>.yaml", 1, 2, "this; that"}, {"noise/<a>.yaml", 3, 4, "these; those"}});
  };
  Response now;
  do {
    now = study(errands_, Request(), page, does, [](const std::string&) { return Response(); });
  } while (now.body.find("data-errand") != now.body.npos);
  EXPECT_THAT(
      now.body,
      HasSubstr("noise/&lt;a&gt;.yaml:1:2: this; that<br>noise/&lt;a&gt;.yaml:3:4: these; those</p>"));
}

}  // namespace
}  // namespace tachproof
