// The bench page behind a reverse proxy that has TLS and a log-in of its own: Debian's nginx, as
// bench/page/README.md sets it up. curl stands for the browser.
#include <arpa/inet.h>
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <memory>
#include <regex>
#include <stdexcept>

#include "bench/record/disk.h"
#include "tests/bench/scratch_folder.h"
#include "tests/page/child.h"
#include "tests/page/page_test.h"
#include "tests/page/served_shop.h"
#include "tests/program/process.h"

namespace tachproof {
namespace {

using ::testing::HasSubstr;

// One that nobody listens on just now.
std::uint16_t free_port() {
  const int listener = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in here{};
  here.sin_family = AF_INET;
  here.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  socklen_t size = sizeof here;
  const bool bound = bind(listener, reinterpret_cast<const sockaddr*>(&here), size) == 0 &&
                     getsockname(listener, reinterpret_cast<sockaddr*>(&here), &size) == 0;
  close(listener);
  if (!bound) throw std::runtime_error("there is no free port");
  return ntohs(here.sin_port);
}

class ReverseProxy : public ::testing::Test {
 protected:
  void SetUp() override {
    for (const char* program : {"nginx", "curl", "openssl"})
      if (program_in_path(program).empty()) {
        if (page_tests_must_run()) FAIL() << program << " is missing";
        GTEST_SKIP() << program << " is missing";
      }
    // The proxy's own port is asked for by listening once and letting go.
    port = free_port();
    origin = fmt::format("https://bench.example:{}", port);
    shop.write_job("short.yaml", "Up and down", "../scenarios/short.yaml", "bench-1");
    page = std::make_unique<ServedShop>(shop.folder(), "--no-history --behind " + origin);
    run("openssl", {"req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj",
                    "/CN=bench.example", "-keyout", "bench.key", "-out", "bench.pem"});
    // "shop" and "lamp", as `openssl passwd -apr1` writes it.
    scratch.write("bench.users", "shop:" + run("openssl", {"passwd", "-apr1", "lamp"}));
    scratch.write("nginx.conf", configuration());
    nginx = std::make_unique<Child>(std::vector<std::string>{"nginx", "-p", scratch.path().string(), "-c",
                                                             "nginx.conf", "-g", "daemon off;"},
                                    scratch.path());
    ASSERT_TRUE(comes_true([&] { return curl("/", "-u shop:lamp").find("HTTP/1.1") != std::string::npos; }))
        << nginx->err();
  }

  // What stands in bench/page/README.md, with the test's own files and port.
  std::string configuration() const {
    const std::string readme =
        whole_file(std::filesystem::path(TACHPROOF_SOURCE_DIR) / "bench/page/README.md");
    const std::size_t from = readme.find("    server {"), to = readme.find("\n    }\n", from);
    std::string block = readme.substr(from, to + 7 - from);
    const auto put = [&](const std::string& what, const std::string& with) {
      EXPECT_THAT(block, HasSubstr(what));
      block = std::regex_replace(block, std::regex(what), with);
    };
    put("443 ssl", fmt::format("127.0.0.1:{} ssl", port));
    put("/etc/ssl/bench.pem", (scratch / "bench.pem").string());
    put("/etc/ssl/bench.key", (scratch / "bench.key").string());
    put("/etc/nginx/bench.users", (scratch / "bench.users").string());
    put("127.0.0.1:8765", fmt::format("127.0.0.1:{}", page->port()));
    // Its workers read files that only this user may.
    const std::string user = geteuid() == 0 ? "user root;\n" : "";
    return user +
           "pid nginx.pid;\nerror_log stderr;\nworker_processes 1;\nevents { worker_connections 64; }\n"
           "http {\naccess_log off;\nclient_body_temp_path body;\nproxy_temp_path proxy;\nfastcgi_temp_path "
           "f;\n"
           "uwsgi_temp_path u;\nscgi_temp_path s;\n" +
           block + "}\n";
  }

  std::string run(const std::string& program, std::vector<std::string> words) const {
    words.insert(words.begin(), program);
    const Finished done = run_process(words, scratch.path(), {});
    EXPECT_EQ(done.status, 0) << program << ": " << done.err;
    return done.out;
  }

  // Head and body of the answer.
  std::string curl(const std::string& target, const std::string& options) const {
    const std::string line = fmt::format(
        "curl -sik --max-time 20 --cacert bench.pem --resolve bench.example:{}:127.0.0.1 {} '{}{}'", port,
        options, origin, target);
    return run_process({"sh", "-c", line}, scratch.path(), {}).out;
  }

  ScratchFolder scratch;
  SmallShop shop;
  std::string origin;
  std::uint16_t port = 0;
  std::unique_ptr<ServedShop> page;
  std::unique_ptr<Child> nginx;
};

TEST_F(ReverseProxy, HasTheLogInAndThePageHasTheKey) {
  EXPECT_THAT(curl("/", ""), HasSubstr("401"));
  EXPECT_THAT(curl("/", "-u shop:lamp"), HasSubstr("403"));
  const std::string key = page->address().substr(page->address().find("?key="));
  const std::string welcomed = curl("/" + key, "-u shop:lamp");
  EXPECT_THAT(welcomed, HasSubstr("303"));
  std::smatch cookie;
  ASSERT_TRUE(std::regex_search(welcomed, cookie, std::regex("Set-Cookie: ([^;]+)")));
  const std::string known = "-u shop:lamp -b '" + cookie[1].str() + "' ";
  EXPECT_THAT(curl("/", known), HasSubstr("200 OK"));
  EXPECT_THAT(
      curl("/tiles/" + std::string(first_tile) + "/next", known + "-X POST -H 'Origin: " + origin + "'"),
      HasSubstr("303"));
  EXPECT_THAT(curl("/tiles/" + std::string(first_tile) + "/next",
                   known + "-X POST -H 'Origin: https://evil.example'"),
              HasSubstr("403"));
}

TEST_F(ReverseProxy, PassesOnWhatIsLiveAtOnce) {
  const std::string key = page->address().substr(page->address().find("?key="));
  std::smatch cookie;
  const std::string welcomed = curl("/" + key, "-u shop:lamp");
  ASSERT_TRUE(std::regex_search(welcomed, cookie, std::regex("Set-Cookie: ([^;]+)")));
  const std::string told = curl("/tiles/" + std::string(first_tile) + "/events",
                                "-N --max-time 2 -u shop:lamp -b '" + cookie[1].str() + "'");
  EXPECT_THAT(told, HasSubstr("state\ndata:"));
}

}  // namespace
}  // namespace tachproof
