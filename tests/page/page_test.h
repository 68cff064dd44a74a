// What tests with a browser share.
#pragma once

#include <gtest/gtest.h>

#include <memory>
#include <string>

#include "tests/page/browser.h"

namespace tachproof {

// Skipped where there is no browser; a failure where TACHPROOF_PAGE_TESTS=must says that there has to be one.
class PageTest : public testing::Test {
 protected:
  void SetUp() override;
  void TearDown() override;
  // One for all tests of this process, started with the first; as fresh as it was then.
  static Browser& driven();
  // It is gone from one moment to the next, with all that it has shown; driven() is another one then.
  static void crash();
};

// The tests of this run may not be skipped.
bool page_tests_must_run();

}  // namespace tachproof
