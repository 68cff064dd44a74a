#include "tests/page/operator.h"

#include <gmock/gmock.h>

#include <cstdlib>

#include "tests/page/axe.h"

namespace tachproof {

void OperatorTest::look(const std::string& name, const std::string& but) {
  Browser& browser = driven();
  const char* const pictures = std::getenv("TACHPROOF_PICTURES");
  for (const int width : {400, 1600})
    for (const bool dark : {false, true}) {
      const std::string what = name + "-" + std::to_string(width) + (dark ? "-dark" : "-light");
      SCOPED_TRACE(what);
      browser.resize(width, width == 400 ? 800 : 1000);
      browser.set_dark(dark);
      EXPECT_LE(browser.run("return document.documentElement.scrollWidth"), width) << "scrolls sideways";
      // Colours and the room that there is: two of the four show all of both.
      if (axe_missing().empty() && dark == (width == 400)) {
        std::vector<std::string> found = axe_violations(browser);
        std::erase_if(found,
                      [&](const std::string& one) { return !but.empty() && one.starts_with(but + ":"); });
        EXPECT_THAT(found, testing::IsEmpty());
      }
      if (pictures != nullptr) browser.screenshot(std::filesystem::path(pictures) / (what + ".png"));
    }
  browser.set_dark(false);
}

void OperatorTest::open(const ServedShop& served) {
  driven().open(served.address());
  EXPECT_EQ(driven().address(), served.own_origin() + "/");
}

void OperatorTest::scan(const std::string& serial) { driven().type(serial + key::enter); }

void OperatorTest::go_to(const std::string& tile, const std::string& what) {
  // How often the key must be pressed, by the order in which a browser goes: as things stand on the page.
  const int times = driven().run(R"(
    const stops = [...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, summary")]
      .filter((one) => one.offsetParent !== null);
    const here = stops.indexOf(document.activeElement);
    const there = stops.indexOf(document.querySelector(arguments[0]));
    return there - here;)",
                                 {tile + " " + what});
  const std::string one = times < 0 ? key::back_tab : key::tab;
  std::string keys;
  for (int i = 0; i < std::abs(times); ++i) keys += one;
  SCOPED_TRACE("from " + driven().focused() + " by " + std::to_string(times) + " steps");
  if (times != 0) driven().type(keys);
  EXPECT_EQ(driven().run("return document.activeElement === document.querySelector(arguments[0])",
                         {tile + " " + what}),
            true);
}

void OperatorTest::expect_no_complaints() { EXPECT_THAT(driven().complaints(), testing::IsEmpty()); }

}  // namespace tachproof
