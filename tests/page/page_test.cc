#include "tests/page/page_test.h"

#include <cstdlib>

namespace tachproof {
namespace {

std::unique_ptr<Browser>& the_browser() {
  static std::unique_ptr<Browser> browser;
  return browser;
}

class EndsTheBrowser : public testing::Environment {
 public:
  void TearDown() override { the_browser().reset(); }
};

[[maybe_unused]] const testing::Environment* const ends =
    testing::AddGlobalTestEnvironment(new EndsTheBrowser);

}  // namespace

bool page_tests_must_run() {
  const char* const must = std::getenv("TACHPROOF_PAGE_TESTS");
  return must != nullptr && std::string(must) == "must";
}

void PageTest::SetUp() {
  const std::string why = Browser::missing();
  if (why.empty()) return;
  if (page_tests_must_run()) FAIL() << why;
  GTEST_SKIP() << why;
}

Browser& PageTest::driven() {
  if (!the_browser()) the_browser() = std::make_unique<Browser>();
  return *the_browser();
}

void PageTest::crash() {
  if (the_browser()) the_browser()->crash();
  the_browser().reset();
}

void PageTest::TearDown() {
  if (!the_browser()) return;
  the_browser()->open("about:blank");  // no page of this test asks anybody any more
  the_browser()->set_scripts(true);
  the_browser()->set_dark(false);
  the_browser()->resize(1600, 1000);
  the_browser()->complaints();
}

}  // namespace tachproof
