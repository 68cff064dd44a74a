// text/event-stream as the HTML standard has it (html.spec.whatwg.org, 9.2).
#include "bench/page/event_feed.h"

#include <gtest/gtest.h>

#include <atomic>
#include <thread>
#include <vector>

namespace tachproof {
namespace {

TEST(EventFeed, ALateListenerGetsTheNewestOfEach) {
  EventFeed feed;
  feed.say("rpm", "1");
  feed.say("lamps", "2");
  feed.say("rpm", "3");
  const EventFeed::News all = feed.since(0);
  EXPECT_EQ(all.text, "event: lamps\ndata: 2\n\nevent: rpm\ndata: 3\n\n");
  EXPECT_EQ(feed.since(all.upto).text, "");
  feed.say("lamps", "4");
  EXPECT_EQ(feed.since(all.upto).text, "event: lamps\ndata: 4\n\n");
}

TEST(EventFeed, AListenerHearsUntilItLeaves) {
  EventFeed feed;
  int heard = 0;
  const std::uint64_t me = feed.listen([&] { ++heard; });
  feed.say("a", "1");
  EXPECT_EQ(heard, 1);
  feed.leave(me);
  feed.say("a", "2");
  EXPECT_EQ(heard, 1);
  EXPECT_EQ(feed.listeners(), 0u);
}

TEST(EventFeed, IsForAllThreads) {
  EventFeed feed;
  std::atomic<int> heard{0};
  feed.listen([&] { ++heard; });
  std::vector<std::thread> threads;
  for (int t = 0; t < 4; ++t)
    threads.emplace_back([&, t] {
      for (int i = 0; i < 500; ++i) feed.say("e" + std::to_string(t), std::to_string(i));
    });
  std::uint64_t upto = 0;
  for (int i = 0; i < 100; ++i) upto = feed.since(upto).upto;
  for (std::thread& thread : threads) thread.join();
  EXPECT_EQ(heard, 2000);
  EXPECT_EQ(feed.since(0).upto, 2000u);
}

}  // namespace
}  // namespace tachproof
