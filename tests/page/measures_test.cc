// What the bench page costs: measured and printed where TACHPROOF_MEASURE is set, never asserted.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <signal.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <thread>

#include "tests/page/hostile.h"
#include "tests/page/page_test.h"
#include "tests/page/served_shop.h"
#include "tests/program/files_for_tests.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

class PageMeasures : public PageTest {
 protected:
  void SetUp() override {
    if (std::getenv("TACHPROOF_MEASURE") == nullptr)
      GTEST_SKIP() << "measures where TACHPROOF_MEASURE is set";
    PageTest::SetUp();
  }

  SmallShop shop;
};

double nearest(std::vector<double> values, double share) {
  std::sort(values.begin(), values.end());
  return values.empty()
             ? 0
             : values[std::min(values.size() - 1,
                               static_cast<std::size_t>(share * static_cast<double>(values.size())))];
}

// Seconds of processor time that this process and its threads have taken.
double processor_s(pid_t pid) {
  std::ifstream stat("/proc/" + std::to_string(pid) + "/stat");
  std::string text((std::istreambuf_iterator<char>(stat)), std::istreambuf_iterator<char>());
  std::istringstream fields(text.substr(text.rfind(')') + 2));
  std::string word;
  for (int i = 0; i < 11; ++i) fields >> word;
  double user = 0, system = 0;
  fields >> user >> system;
  return (user + system) / static_cast<double>(sysconf(_SC_CLK_TCK));
}

TEST_F(PageMeasures, FirstPageCold) {
  shop.write_job("a.yaml", "Two lamps", "../scenarios/short.yaml", "bench-1");
  const ServedShop served(shop.folder());
  std::size_t bytes = 0;
  for (const char* target : {"/", "/page.css", "/page.js"}) {
    const HttpAnswer answer = served.get(target);
    std::printf("%-10s %zu bytes with its head\n", target, answer.bytes);
    bytes += answer.bytes;
  }
  std::printf("together   %zu bytes\n", bytes);
  Browser& browser = driven();
  browser.open(served.address());
  // From another site a browser starts a process for the page first: that is its own time.
  for (const std::string& from : {std::string("about:blank"), served.own_origin() + "/rigs"}) {
    std::vector<double> answered, parsed, loaded;
    for (int i = 0; i < 15; ++i) {
      browser.open(from);
      browser.devtools("Network.clearBrowserCache", nlohmann::json::object());
      browser.open(served.own_origin() + "/");
      const auto times = browser.run(
          "const n = performance.getEntriesByType('navigation')[0]; return [n.responseEnd, "
          "n.domContentLoadedEventEnd, n.loadEventEnd]");
      answered.push_back(times[0]);
      parsed.push_back(times[1]);
      loaded.push_back(times[2]);
    }
    std::printf(
        "from %s: answered after %.0f ms, DOMContentLoaded %.0f ms, load %.0f ms (medians of %zu; greatest "
        "%.0f ms)\n",
        from.c_str(), nearest(answered, 0.5), nearest(parsed, 0.5), nearest(loaded, 0.5), loaded.size(),
        nearest(loaded, 1));
  }
}

// A scenario that steps between two windows; each lamp change has the instant at which it went out of the
// program, and the one at which the page had drawn it.
TEST_F(PageMeasures, LampChangeToScreen) {
  shop.write("scenarios/steps.yaml",
             "format: 1\nkind: scenario\nname: steps\nseed: 1\nprofile:\n  - {hold: 2500, for: 1s}\n"
             "  - repeat: 60\n    steps: [{step: 3500}, {hold: 3500, for: 250ms}, {step: 2500}, {hold: 2500, "
             "for: 250ms}]\n"
             "judge: {transitions: false, steady: false, blink: false, thresholds: false}\n");
  shop.write_job("a.yaml", "Steps", "../scenarios/steps.yaml", "bench-1");
  const ServedShop served(shop.folder());
  Browser& browser = driven();
  browser.open(served.address());
  // Each change that arrives at this test's own connection, by the wall clock, and the browser's next frame
  // after it has shown the same: both clocks are this machine's.
  browser.run(R"(window.shown = [];
    new MutationObserver(() => requestAnimationFrame(() => requestAnimationFrame(() =>
      window.shown.push(Date.now())))).observe(document.querySelector('main'),
      { subtree: true, attributes: true, attributeFilter: ['class'] });)");
  HostileClient listener(served.port());
  listener.send("GET /events HTTP/1.1\r\nHost: 127.0.0.1:" + std::to_string(served.port()) +
                "\r\nCookie: " + served.cookie() + "\r\n\r\n");
  browser.type(std::string("X") + key::enter);
  std::vector<double> told;
  std::string text;
  const auto end = std::chrono::steady_clock::now() + std::chrono::seconds(40);
  while (std::chrono::steady_clock::now() < end && text.find("\"state\"") == text.npos) {
    const std::string more = listener.read(std::chrono::milliseconds(1));
    const double now =
        std::chrono::duration<double, std::milli>(std::chrono::system_clock::now().time_since_epoch())
            .count();
    if (more.find("/lamps") != more.npos) told.push_back(now);
    if (served.port() != 0 && told.size() >= 100) break;
  }
  std::vector<double> shown = browser.run("return window.shown");
  std::vector<double> late;
  for (const double at : told) {
    const auto next = std::lower_bound(shown.begin(), shown.end(), at - 1);
    if (next != shown.end() && *next - at < 240) late.push_back(*next - at);
  }
  std::printf("%zu changes told, %zu seen on the screen: median %.0f ms, 95 %% %.0f ms, greatest %.0f ms\n",
              told.size(), late.size(), nearest(late, 0.5), nearest(late, 0.95), nearest(late, 1));
}

TEST_F(PageMeasures, TenWhoWatch) {
  shop.write("scenarios/wave.yaml",
             "format: 1\nkind: scenario\nname: wave\nseed: 1\nprofile:\n"
             "  - {wave: 3000, swing: 200, period: 1s, for: 60s}\n"
             "judge: {transitions: false, steady: false, blink: false, thresholds: false}\n");
  shop.write_job("a.yaml", "Wave", "../scenarios/wave.yaml", "bench-1");
  for (const int watching : {0, 10, 0, 10}) {
    ServedShop served(shop.folder());
    std::vector<HostileClient> watchers;
    std::vector<std::thread> readers;
    for (int i = 0; i < watching; ++i) {
      watchers.emplace_back(served.port());
      watchers.back().send("GET /events HTTP/1.1\r\nHost: 127.0.0.1:" + std::to_string(served.port()) +
                           "\r\nCookie: " + served.cookie() + "\r\n\r\n");
    }
    for (HostileClient& one : watchers) readers.emplace_back([&one] { one.read(); });
    served.post(std::string("/tiles/") + first_tile + "/start", "serial=X");
    served.comes_to(first_tile, "running");
    const double before = processor_s(served.program().pid());
    const auto from = std::chrono::steady_clock::now();
    std::this_thread::sleep_for(std::chrono::seconds(8));
    const double wall = std::chrono::duration<double>(std::chrono::steady_clock::now() - from).count();
    const double spent = processor_s(served.program().pid()) - before;
    std::printf("%2d watching: %.2f %% of a core (run and page together)\n", watching, 100 * spent / wall);
    served.program().signal(SIGKILL);
    for (std::thread& reader : readers) reader.join();
  }
}

}  // namespace
}  // namespace tachproof
