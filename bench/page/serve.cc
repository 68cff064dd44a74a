#include "bench/page/serve.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <thread>

#include "bench/commands/terminal.h"
#include "bench/page/bench_page.h"
#include "bench/page/server.h"
#include "bench/record/text.h"
#include "bench/run/stop_request.h"
#include "core/base/parse.h"

extern char** environ;

namespace tachproof {
namespace {

// In the background; without a browser, or without a screen, nothing happens.
void open_browser(std::string address) {
  if (std::getenv("DISPLAY") == nullptr && std::getenv("WAYLAND_DISPLAY") == nullptr) return;
  std::string program = "xdg-open";
  char* const words[] = {program.data(), address.data(), nullptr};
  posix_spawn_file_actions_t quiet;
  posix_spawn_file_actions_init(&quiet);
  posix_spawn_file_actions_addopen(&quiet, STDOUT_FILENO, "/dev/null", O_WRONLY, 0);
  posix_spawn_file_actions_addopen(&quiet, STDERR_FILENO, "/dev/null", O_WRONLY, 0);
  pid_t child = 0;
  if (posix_spawnp(&child, words[0], &quiet, nullptr, words, environ) == 0)
    std::thread([child] { waitpid(child, nullptr, 0); }).detach();
  posix_spawn_file_actions_destroy(&quiet);
}

class ServeCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "serve",
        "the bench page: test units from a browser",
        "[FOLDER] [--port N] [--at-once] [--no-browser] [--behind URL...] [--history PLACE | --no-history]",
        "Serves a page on this machine's loopback interface, and opens the browser where there is one. An "
        "operator picks a job there, scans a serial number, watches, and reads one large word with its "
        "cause. "
        "An engineer finds gauges, runs, units and rigs.\n\n"
        "FOLDER holds jobs, gauges, scenarios, rigs and certificates, in folders as you like; runs go to "
        "FOLDER/runs. All of it is files that the other commands read. Without FOLDER the shop that ships is "
        "served, on the simulated rig: it is written to ~/.local/share/tachproof/shop once.\n\n"
        "The printed address has a key: only who opens it gets in. The page is for this machine alone. For "
        "others, put a reverse proxy with TLS and a log-in of its own before it and name its address with "
        "--behind; bench/page/README.md shows how.\n\n"
        "Closing the browser stops nothing. Ctrl-C stops all runs, switches every source off, keeps what was "
        "measured, and ends.",
        "0  ended by Ctrl-C or SIGTERM\n2  bad usage, no such folder, or the port is taken",
        {"tachproof serve", "tachproof serve fixtures --no-browser"}};
  }

  void declare(Arguments& arguments) override {
    arguments.optional_words(folders_, "FOLDER", "The shop's folder. Default: the shop that ships.");
    arguments.option(port_, "--port", "N", "The port, 1 to 65535. Default: one that is free.");
    arguments.flag(at_once_, "--at-once",
                   "Lets simulated rigs run as fast as they can. Without it they take the time that a real "
                   "unit takes, so that a person can watch.");
    arguments.flag(no_browser_, "--no-browser", "Opens no browser.");
    arguments.repeated(behind_, "--behind", "URL",
                       "The address of a reverse proxy that stands before this page, such as "
                       "https://bench.example.");
    arguments.option(
        history_, "--history", "PLACE",
        "The history that runs are added to: a file or postgresql://... Default: as 'run' has it.");
    arguments.flag(no_history_, "--no-history", "Keeps the runs out of any history.");
  }

  int run() override {
    if (folders_.size() > 1) throw UsageError("one FOLDER at a time is served");
    ServerSettings settings;
    settings.port = port();
    for (const std::string& url : behind_) settings.origins.push_back(origin_in(url));
    catch_stop_signals();
    try {
      BenchPage page(folders_.empty() ? shipped_shop() : std::filesystem::path(folders_[0]),
                     {!at_once_, history_, no_history_});
      PageServer server(settings, [&](const Request& request) { return page.answer(request); });
      server.start();
      fmt::print("Serving {}\nOpen {}\n", printable(page.shop().folder().string()), server.address());
      std::fflush(stdout);
      if (is_terminal(stderr)) fmt::print(stderr, "Ctrl-C ends it.\n");
      if (!no_browser_) open_browser(server.address());
      // Runs see the signal themselves and may have ended before this thread looks: those that went on just
      // before it are the ones that it stopped.
      std::size_t stopped = 0;
      while (!stop_requested()) {
        stopped = page.busy();
        std::this_thread::sleep_for(std::chrono::milliseconds(20));
      }
      stopped = std::max(stopped, page.busy());
      if (stopped > 0)
        fmt::print(stderr, "Stopping {} {}; what was measured is kept.\n", stopped,
                   stopped == 1 ? "run" : "runs");
    } catch (const std::runtime_error& e) {
      throw UsageError(e.what());
    }
    return exit_pass;
  }

 private:
  std::uint16_t port() const {
    if (port_.empty()) return 0;
    const std::optional<int> port = parse_number<int>(port_);
    if (!port || *port < 1 || *port > 65535)
      throw UsageError("--port is '" + port_ + "'; it must be a whole number from 1 to 65535");
    return static_cast<std::uint16_t>(*port);
  }

  // Scheme, host and port, as a browser writes them.
  static std::string origin_in(const std::string& url) {
    const std::size_t slashes = url.find("://");
    const bool known = url.starts_with("https://") || url.starts_with("http://");
    const std::string rest = known ? url.substr(slashes + 3) : "";
    const std::size_t end = rest.find('/');
    if (!known || rest.empty() || end == 0 || (end != rest.npos && end + 1 != rest.size()))
      throw UsageError("--behind is '" + url + "'; it must be an address such as https://bench.example");
    return url.substr(0, slashes + 3) + rest.substr(0, end);
  }

  std::vector<std::string> folders_, behind_;
  std::string port_, history_;
  bool at_once_ = false, no_browser_ = false, no_history_ = false;
};

}  // namespace

std::unique_ptr<Command> make_serve_command() { return std::make_unique<ServeCommand>(); }

}  // namespace tachproof
