// Who may ask the bench page anything. The rules are those of the Fetch standard (Origin, Sec-Fetch-Site) and
// RFC 6265bis (SameSite), and the attack by which a foreign name comes to mean 127.0.0.1 (DNS rebinding).
#include "bench/page/guard.h"

#include <gtest/gtest.h>

#include <set>

namespace tachproof {
namespace {

using Says = Guard::Says;

class GuardTest : public ::testing::Test {
 protected:
  Guard guard{{"http://127.0.0.1:8765", "http://localhost:8765"}};
  std::string cookie = guard.cookie_header().substr(0, guard.cookie_header().find(';'));

  RequestOrigin own(std::string_view method = "GET") const {
    return {method, "127.0.0.1:8765", {}, "same-origin", cookie, {}};
  }
};

TEST_F(GuardTest, OnlyTheKeyGivesACookie) {
  RequestOrigin stranger{"GET", "127.0.0.1:8765", {}, "none", {}, {}};
  EXPECT_EQ(guard.asked(stranger), Says::no_cookie);
  stranger.key = "abc";
  EXPECT_EQ(guard.asked(stranger), Says::no_cookie);
  stranger.key = guard.key();
  EXPECT_EQ(guard.asked(stranger), Says::give_cookie);
  EXPECT_EQ(guard.asked(own()), Says::welcome);
}

TEST_F(GuardTest, TheKeyDoesNothingButGiveTheCookie) {
  RequestOrigin stranger{"POST", "127.0.0.1:8765", "http://127.0.0.1:8765", "same-origin", {}, guard.key()};
  EXPECT_EQ(guard.asked(stranger), Says::no_cookie);
}

TEST_F(GuardTest, AForeignNameForThisMachineIsRefused) {
  for (const char* host :
       {"evil.example:8765", "127.0.0.1", "127.0.0.1:8766", "", "localhost", "127.0.0.1:8765.evil"}) {
    RequestOrigin from = own();
    from.host = host;
    EXPECT_EQ(guard.asked(from), Says::wrong_host) << host;
  }
  RequestOrigin from = own();
  from.host = "localhost:8765";
  EXPECT_EQ(guard.asked(from), Says::welcome);
}

TEST_F(GuardTest, WhatChangesAnythingComesFromAPageOfOurs) {
  RequestOrigin from = own("POST");
  EXPECT_EQ(guard.asked(from), Says::welcome);
  from.origin = "http://127.0.0.1:8765";
  EXPECT_EQ(guard.asked(from), Says::welcome);
  from.fetch_site = {};
  EXPECT_EQ(guard.asked(from), Says::welcome);
  for (const char* origin :
       {"http://evil.example", "null", "https://127.0.0.1:8765", "http://127.0.0.1:80"}) {
    from.origin = origin;
    EXPECT_EQ(guard.asked(from), Says::wrong_origin) << origin;
  }
  from.origin = {};
  for (const char* site : {"", "none", "same-site", "cross-site"}) {
    from.fetch_site = site;
    EXPECT_EQ(guard.asked(from), Says::wrong_origin) << site;
  }
}

TEST_F(GuardTest, AForeignPageReadsNothing) {
  RequestOrigin from = own();
  from.fetch_site = "cross-site";
  EXPECT_EQ(guard.asked(from), Says::wrong_origin);
  from.fetch_site = "none";  // typed, or from a bookmark
  EXPECT_EQ(guard.asked(from), Says::welcome);
}

TEST_F(GuardTest, TheCookieIsFoundAmongOthersAndOnlyWhole) {
  RequestOrigin from = own();
  const std::string among = "a=b; " + cookie + "; c=d";
  from.cookie = among;
  EXPECT_EQ(guard.asked(from), Says::welcome);
  const std::string longer = cookie + "x", shorter = cookie.substr(0, cookie.size() - 1),
                    inside = "x" + cookie;
  for (const std::string& wrong : {longer, shorter, inside}) {
    from.cookie = wrong;
    EXPECT_EQ(guard.asked(from), Says::no_cookie) << wrong;
  }
}

TEST_F(GuardTest, TheCookieIsForThisSiteAndForNoScript) {
  const std::string header = guard.cookie_header();
  EXPECT_NE(header.find("; HttpOnly"), header.npos);
  EXPECT_NE(header.find("; SameSite=Strict"), header.npos);
  EXPECT_EQ(header.find("Secure"), header.npos);  // on plain HTTP a browser would not send it back
  EXPECT_NE(Guard({"https://bench.example"}).cookie_header().find("; Secure"), std::string::npos);
}

TEST(RandomWord, IsNeverTheSameAndFitsAnAddress) {
  std::set<std::string> words;
  for (int i = 0; i < 1000; ++i) words.insert(random_word());
  EXPECT_EQ(words.size(), 1000u);
  for (const std::string& word : words) {
    EXPECT_EQ(word.size(), 32u);
    EXPECT_EQ(word.find_first_not_of("abcdefghijklmnopqrstuvwxyz234567"), word.npos);
  }
}

}  // namespace
}  // namespace tachproof
