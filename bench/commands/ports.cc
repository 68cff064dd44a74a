#include "bench/rigs/ports.h"

#include <cstdio>
#include <nlohmann/json.hpp>

#include <fmt/format.h>

#include "bench/commands/command.h"
#include "bench/rigs/board_connection.h"

namespace tachproof {

namespace {

using Json = nlohmann::ordered_json;

class PortsCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "ports",
        "what is connected",
        "[--hello PORT] [--json]",
        "Lists the serial ports with the name to put into a rig file, what each says of itself, and whether "
        "you may open it; if not, why not and what to do. Nothing is opened.\n\n"
        "With --hello the board on one port is greeted, which restarts most boards, and what it answers is "
        "printed: firmware, build, protocol, clock rate, inputs and outputs.",
        "0  done, also when nothing is connected\n2  bad usage\n3  the board that was asked did not answer",
        {"tachproof ports", "tachproof ports --json"}};
  }

  void declare(Arguments& arguments) override {
    arguments.option(hello_, "--hello", "PORT", "Greets the board on this port.");
    arguments.flag(json_, "--json", "Prints JSON.");
  }

  int run() override {
    hello_.empty() ? list(ports_present()) : greet();
    return exit_pass;
  }

 private:
  void list(const std::vector<PortFound>& ports) const {
    if (json_) return print(to_json(ports));
    if (ports.empty()) std::puts("No serial port is present: is the board plugged in?");
    for (const PortFound& port : ports) std::fputs(to_text(port).c_str(), stdout);
  }

  static std::string to_text(const PortFound& port) {
    std::string text = port.name + "\n";
    const auto line = [&](const char* what, const std::string& value) {
      if (!value.empty()) text += fmt::format("  {:13}{}\n", what, value);
    };
    if (port.device != port.name) line("device", port.device);
    line("description", port.description);
    line("USB", port.usb);
    line("manufacturer", port.manufacturer);
    line("serial", port.serial);
    line("open", port.closed_because.empty() ? "yes" : "no: " + port.closed_because);
    return text;
  }

  static Json to_json(const std::vector<PortFound>& ports) {
    Json list = Json::array();
    for (const PortFound& port : ports)
      list.push_back(Json{{"name", port.name},
                          {"device", port.device},
                          {"description", port.description},
                          {"usb", port.usb},
                          {"manufacturer", port.manufacturer},
                          {"serial", port.serial},
                          {"can_open", port.closed_because.empty()},
                          {"why_not", port.closed_because}});
    return Json{{"ports", list}};
  }

  void greet() const {
    const BoardConnection board(hello_, wall_clock());
    const LinkHello& hello = board.hello();
    const std::string firmware = fmt::format("{}.{}", hello.firmware_major, hello.firmware_minor);
    const std::string build = fmt::format("{:08x}", hello.build_id);
    if (json_)
      return print(Json{{"port", board.port()},
                        {"firmware", firmware},
                        {"build", build},
                        {"protocol", hello.protocol},
                        {"clock_hz", hello.clock_hz},
                        {"inputs", hello.inputs},
                        {"outputs", hello.outputs},
                        {"queue_entries", hello.queue_entries},
                        {"shortest_interval_us", hello.min_ticks * (+link_tick_ns / 1e3)},
                        {"stamp_delay_us", hello.stamp_delay_ns / 1e3},
                        {"stamp_spread_us", hello.stamp_spread_ns / 1e3}});
    fmt::print("The board on {}\n", board.port());
    fmt::print("  firmware     {}, build {}, protocol {}\n", firmware, build, hello.protocol);
    fmt::print("  clock        {} Hz nominal, ticks of {} us\n", hello.clock_hz, +link_tick_ns / 1e3);
    fmt::print("  inputs       in0 to in{}; a change is stamped after {} us, up to {} us late\n",
               hello.inputs - 1, hello.stamp_delay_ns / 1e3, hello.stamp_spread_ns / 1e3);
    fmt::print("  outputs      {}: two for presses, the sync lamp\n", hello.outputs);
    fmt::print("  train        {} intervals ahead, {} us the shortest\n", hello.queue_entries,
               hello.min_ticks * (+link_tick_ns / 1e3));
  }

  static void print(const Json& json) { std::puts(json.dump(2).c_str()); }

  std::string hello_;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_ports_command() { return std::make_unique<PortsCommand>(); }

}  // namespace tachproof
