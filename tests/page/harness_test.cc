// The browser, the checker and the hostile client against a server of a few lines: what drives the tests is
// tested first.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <signal.h>

#include <atomic>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/beast/core.hpp>
#include <boost/beast/http.hpp>
#include <filesystem>
#include <fstream>
#include <list>
#include <thread>

#include "tests/page/axe.h"
#include "tests/page/browser.h"
#include "tests/page/hostile.h"
#include "tests/page/http.h"
#include "tests/page/page_test.h"

namespace tachproof {
namespace {

namespace http = boost::beast::http;
using boost::asio::ip::tcp;
using testing::Contains;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;
using testing::StartsWith;

// One page whatever is asked for; what was posted is on it. A browser opens connections in store and asks
// nothing on them, so each has a thread.
class TinyServer {
 public:
  explicit TinyServer(std::string page)
      : page_(std::move(page)), acceptor_(io_, {boost::asio::ip::address_v4::loopback(), 0}), thread_([this] {
          while (accepts()) {
          }
        }) {}
  ~TinyServer() {
    ends_ = true;
    try {
      HostileClient wakes(port());
    } catch (const std::exception&) {
    }
    thread_.join();
    boost::system::error_code ignored;
    for (Guest& guest : guests_) {
      guest.socket.shutdown(tcp::socket::shutdown_both, ignored);
      guest.thread.join();
    }
  }
  std::uint16_t port() const { return acceptor_.local_endpoint().port(); }
  std::string address() const { return "http://127.0.0.1:" + std::to_string(port()) + "/"; }

 private:
  struct Guest {
    tcp::socket socket;
    std::thread thread;
  };

  bool accepts() {
    boost::system::error_code error;
    tcp::socket socket = acceptor_.accept(error);
    if (ends_) return false;
    guests_.push_back({std::move(socket), {}});
    Guest& guest = guests_.back();
    guest.thread = std::thread([this, &guest] { serve(guest.socket); });
    return true;
  }

  void serve(tcp::socket& socket) const {
    boost::system::error_code error;
    boost::beast::flat_buffer buffer;
    http::request<http::string_body> asked;
    http::read(socket, buffer, asked, error);
    http::response<http::string_body> answer{error ? http::status::bad_request : http::status::ok, 11};
    answer.set(http::field::content_type, "text/html; charset=utf-8");
    answer.keep_alive(false);
    answer.body() = page_ + "<p id=\"posted\">" + asked.body() + "</p>";
    answer.prepare_payload();
    http::write(socket, answer, error);
    socket.shutdown(tcp::socket::shutdown_both, error);
  }

  std::string page_;
  std::atomic<bool> ends_{false};
  boost::asio::io_context io_;
  tcp::acceptor acceptor_;
  std::list<Guest> guests_;
  std::thread thread_;
};

constexpr const char* page =
    R"(<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>Moraine</title>
<link rel="icon" href="data:,"><style>p { color: rgb(0, 0, 0); } @media (max-width: 500px) { h1 { color: rgb(1, 2, 3); } }
@media (prefers-color-scheme: dark) { body { background: rgb(0, 0, 0); } p { color: rgb(255, 255, 255) } }</style></head>
<body><main><h1>Moraine</h1><form method="post"><label for="s">Serial</label> <input id="s" name="s" autofocus><button>Go</button></form>
<ul><li>one</li><li>two</li></ul><p id="keys"></p><noscript><p id="none">no scripts</p></noscript></main>
<script>document.addEventListener("keydown", (e) => { document.querySelector("#keys").textContent += e.key + " "; });</script>
)";

class Harness : public PageTest {};

TEST_F(Harness, ReadsAPageAndTypesIntoIt) {
  const TinyServer server(page);
  Browser& browser = driven();
  browser.open(server.address());
  EXPECT_EQ(browser.address(), server.address());
  EXPECT_EQ(browser.text("h1"), "Moraine");
  EXPECT_THAT(browser.texts("li"), ElementsAre("one", "two"));
  EXPECT_EQ(browser.attribute("input", "name"), "s");
  EXPECT_FALSE(browser.has("h2"));
  EXPECT_THROW(browser.text("h2"), std::runtime_error);
  EXPECT_EQ(browser.focused(), "input#s");
  browser.type(std::string("aé") + key::escape + key::left);
  EXPECT_EQ(browser.text("#keys"), "a é Escape ArrowLeft");
  browser.type(key::enter);
  EXPECT_TRUE(browser.comes_text("#posted", "s=a%C3%A9"));
  EXPECT_EQ(browser.run("return 6 * arguments[0]", {7}), 42);
  EXPECT_THAT(browser.complaints(), IsEmpty());
  browser.run("console.error('it broke')");
  EXPECT_THAT(browser.complaints(), Contains(HasSubstr("it broke")));
}

TEST_F(Harness, SeesAPageNarrowAndDarkAndWithoutScripts) {
  const TinyServer server(page);
  Browser& browser = driven();
  const std::string colour_of = "return getComputedStyle(document.querySelector(arguments[0])).color";
  browser.open(server.address());
  browser.resize(400, 800);
  EXPECT_EQ(browser.run("return innerWidth"), 400);
  EXPECT_EQ(browser.run(colour_of, {"h1"}), "rgb(1, 2, 3)");
  browser.resize(1600, 1000);
  EXPECT_EQ(browser.run(colour_of, {"p"}), "rgb(0, 0, 0)");
  browser.set_dark(true);
  EXPECT_EQ(browser.run(colour_of, {"p"}), "rgb(255, 255, 255)");
  browser.set_dark(false);
  EXPECT_FALSE(browser.has("#none"));
  browser.set_scripts(false);
  browser.open(server.address());
  browser.type("x");
  EXPECT_TRUE(browser.has("#none"));
  EXPECT_EQ(browser.text("#keys"), "");
  browser.set_scripts(true);
}

TEST_F(Harness, TakesPictures) {
  const TinyServer server(page);
  Browser& browser = driven();
  browser.open(server.address());
  const std::filesystem::path png = std::filesystem::path(testing::TempDir()) / "harness/moraine.png";
  browser.screenshot(png);
  EXPECT_GT(std::filesystem::file_size(png), 1000U);
  EXPECT_THAT(browser.pdf(), StartsWith("%PDF-"));
}

TEST_F(Harness, FindsWhatAPageBreaks) {
  if (!axe_missing().empty()) GTEST_SKIP() << axe_missing();
  Browser& browser = driven();
  const TinyServer sound(page);
  browser.open(sound.address());
  EXPECT_THAT(axe_violations(browser), IsEmpty());
  const TinyServer poor(
      "<!DOCTYPE html><html><title>x</title><p style=\"color:#ccc\">pale</p><input><img src=\"data:,\">");
  browser.open(poor.address());
  EXPECT_THAT(axe_violations(browser),
              testing::AllOf(Contains(StartsWith("color-contrast: ")), Contains(StartsWith("label: ")),
                             Contains(StartsWith("image-alt: ")), Contains(StartsWith("html-has-lang: "))));
}

TEST(HarnessAlone, EndsBothProgramsWithTheBrowser) {
  if (!Browser::missing().empty()) GTEST_SKIP() << Browser::missing();
  const auto browsers = [] {
    std::size_t count = 0;
    for (const auto& entry : std::filesystem::directory_iterator("/proc")) {
      std::ifstream words(entry.path() / "cmdline");
      std::string line;
      std::getline(words, line);
      if (line.find("tachproof-browser-") != line.npos && line.find("--user-data-dir") != line.npos) ++count;
    }
    return count;
  };
  const std::size_t before = browsers();
  {
    Browser browser;
    EXPECT_GT(browsers(), before);
  }
  EXPECT_TRUE(comes_true([&] { return browsers() <= before; }));
}

TEST(HarnessAlone, EndsAChildThatWillNot) {
  pid_t stubborn = 0;
  {
    const Child child({"sh", "-c", "trap '' TERM INT HUP; while :; do sleep 1; done"}, "/");
    stubborn = child.pid();
    EXPECT_EQ(kill(stubborn, 0), 0);
  }
  EXPECT_NE(kill(stubborn, 0), 0);
}

TEST(HarnessAlone, SendsAnyBytes) {
  const TinyServer server(page);
  EXPECT_EQ(status_of_bytes(server.port(), "GET / HTTP/1.1\r\nHost: x\r\n\r\n"), 200U);
  EXPECT_EQ(status_of_bytes(server.port(), "\x16\x03\x01\x02\r\n\r\n"), 400U);
  HostileClient slow(server.port());
  for (const char c : std::string("GET / HTTP/1.1\r\nHost: x\r\n\r\n")) slow.send(std::string(1, c));
  EXPECT_EQ(slow.status(), 200U);
  EXPECT_TRUE(slow.is_closed());
  const HttpAnswer answer = ask_http(server.port(), {"POST", "/", "a=b", {}});
  EXPECT_EQ(answer.status, 200U);
  EXPECT_THAT(answer.body, HasSubstr("<p id=\"posted\">a=b</p>"));
  EXPECT_THROW(ask_http(1, {}), std::runtime_error);
}

}  // namespace
}  // namespace tachproof
