// Addresses, forms and routes. Decoding follows the URL standard's application/x-www-form-urlencoded
// (url.spec.whatwg.org, section 5) and RFC 3986 for paths.
#include "bench/page/request.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

namespace tachproof {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;

TEST(Fields, AreDecoded) {
  const Fields fields = Fields::of("serial=DR-0001&note=a+b%26c&serial=two&empty=&bare");
  EXPECT_EQ(fields.get("serial"), "DR-0001");
  EXPECT_EQ(fields.get("note"), "a b&c");
  EXPECT_EQ(fields.get("empty"), "");
  EXPECT_TRUE(fields.has("bare"));
  EXPECT_FALSE(fields.has("none"));
  EXPECT_THAT(fields.all_of("serial"), ElementsAre("DR-0001", "two"));
}

TEST(Fields, LeaveOutWhatIsBadlyWritten) {
  const Fields fields = Fields::of("a=%4&b=%zz&c=%&d=1");
  EXPECT_EQ(fields.all().size(), 1u);
  EXPECT_EQ(fields.get("d"), "1");
}

RC_GTEST_PROP(Urls, WhatIsEncodedReadsBack, (const std::string& text)) {
  std::string back;
  RC_ASSERT(url_decoded(url_encoded(text), true, back));
  RC_ASSERT(back == text);
}

TEST(Paths, NeverLeadUpwards) {
  std::vector<std::string> parts;
  EXPECT_TRUE(parts_of_path("/runs/a%20b/report", parts));
  EXPECT_THAT(parts, ElementsAre("runs", "a b", "report"));
  EXPECT_TRUE(parts_of_path("/", parts));
  EXPECT_TRUE(parts.empty());
  for (const char* path : {"", "runs", "/..", "/runs/../x", "/runs/%2e%2e/x", "/runs/..%2f..%2fetc", "//x",
                           "/a%00b", "/a%0d%0ab", "/a\\..\\b", "/%", "/./x"})
    EXPECT_FALSE(parts_of_path(path, parts)) << path;
}

Request get(const std::string& path) {
  Request request;
  request.method = "GET";
  request.path = path;
  return request;
}

TEST(Router, GivesTheStarsToTheHandler) {
  Router router;
  router.on("GET", "/runs/*/report",
            [](const Request& request) { return plain_text(request.parts[0], "x"); });
  EXPECT_EQ(router(get("/runs/one%2D/report")).body, "one-");
  EXPECT_EQ(router(get("/runs/one")).status, 404u);
  EXPECT_EQ(router(get("/runs/../report")).status, 404u);
}

TEST(Router, TellsAnotherMethodFromNoPage) {
  Router router;
  router.on("POST", "/tiles/*/start", [](const Request&) { return see_other("/"); });
  EXPECT_EQ(router(get("/tiles/a/start")).status, 405u);
  Request head = get("/tiles");
  head.method = "HEAD";
  EXPECT_EQ(router(head).status, 404u);
}

TEST(Router, AHandlerThatThrowsIsAnAnswerAndNoEnd) {
  Router router;
  router.on("GET", "/x", [](const Request&) -> Response { throw std::runtime_error("a <b> broke"); });
  const Response response = router(get("/x"));
  EXPECT_EQ(response.status, 500u);
  EXPECT_THAT(response.body, HasSubstr("a &lt;b&gt; broke"));
}

}  // namespace
}  // namespace tachproof
