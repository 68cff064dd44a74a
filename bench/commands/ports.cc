#include "bench/rigs/ports.h"

#include <cstdio>
#include <nlohmann/json.hpp>

#include <fmt/format.h>

#include "bench/commands/command.h"
#include "bench/record/json_values.h"
#include "bench/record/text.h"
#include "bench/rigs/board/board_connection.h"
#include "bench/rigs/camera/cameras.h"
#include "bench/rigs/gpio/gpio_lines.h"
#include "bench/rigs/scpi/instrument.h"

namespace tachproof {

namespace {

using Json = nlohmann::ordered_json;

class PortsCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "ports",
        "what is connected",
        "[--hello PORT | --probe ADDRESS] [--json]",
        "Lists the serial ports with the name to put into a rig file, what each says of itself, and whether "
        "you may open it. If not, it says why and what to do. No port is opened. USB instruments, GPIO chips "
        "with their lines, and cameras with the formats, sizes and frames a second that they offer are "
        "listed too.\n\n"
        "With --hello it greets the board on one port, which restarts most boards, and prints its answer: "
        "firmware, build, protocol, clock rate, inputs and outputs.\n\n"
        "With --probe it asks the signal generator at one address (host:port, /dev/usbtmc0, a serial line) "
        "for its name.",
        "0  done, also when nothing is connected\n2  bad usage\n3  the board or generator did not answer",
        {"tachproof ports", "tachproof ports --json"}};
  }

  void declare(Arguments& arguments) override {
    arguments.option(hello_, "--hello", "PORT", "Greets the board on this port.");
    arguments.option(probe_, "--probe", "ADDRESS", "Asks the signal generator at this address for its name.");
    arguments.flag(json_, "--json", "Prints JSON.");
  }

  int run() override {
    if (!hello_.empty() && !probe_.empty()) throw UsageError("give --hello or --probe, not both");
    if (!probe_.empty())
      probe();
    else if (!hello_.empty())
      greet();
    else
      list();
    return exit_pass;
  }

 private:
  void list() const {
    const std::vector<PortFound> ports = ports_present(), instruments = instruments_present();
    const std::vector<GpioChipFound> chips = gpio_chips(*linux_gpio());
    const std::vector<CameraFound> cameras = cameras_present(*linux_video());
    if (json_)
      return print(Json{{"ports", to_json(ports)},
                        {"instruments", to_json(instruments)},
                        {"gpio_chips", to_json(chips)},
                        {"cameras", to_json(cameras)}});
    if (ports.empty()) std::puts("No serial port is present: is the board plugged in?");
    for (const PortFound& port : ports) std::fputs(to_text(port).c_str(), stdout);
    for (const PortFound& port : instruments) std::fputs(to_text(port).c_str(), stdout);
    for (const GpioChipFound& chip : chips) std::fputs(to_text(chip).c_str(), stdout);
    for (const CameraFound& camera : cameras) std::fputs(to_text(camera).c_str(), stdout);
  }

  void probe() const {
    ScpiSetting setting;
    setting.address = probe_;
    const Instrument generator(setting, monotonic_clock(), [this] { return open_instrument({probe_}); });
    if (json_) return print(Json{{"address", probe_}, {"identity", generator.identity()}});
    fmt::print("The generator at {}\n  name         {}\n", printable(probe_),
               printable(generator.identity()));
  }

  static std::string to_text(const GpioChipFound& chip) {
    std::string text =
        fmt::format("{}\n  {:13}{}\n  {:13}{}\n", chip.device, "label", printable(chip.label), "open",
                    chip.closed_because.empty() ? "yes" : "no: " + chip.closed_because);
    for (std::size_t i = 0; i < chip.lines.size(); ++i) {
      const GpioLineFound& line = chip.lines[i];
      const std::string user = !line.used              ? ""
                               : line.consumer.empty() ? "in use"
                                                       : "in use by " + printable(line.consumer);
      text += fmt::format("  line {:<8}{}{}{}\n", i, printable(line.name),
                          line.name.empty() || user.empty() ? "" : ", ", user);
    }
    return text;
  }

  static Json to_json(const std::vector<GpioChipFound>& chips) {
    Json list = Json::array();
    for (const GpioChipFound& chip : chips) {
      Json lines = Json::array();
      for (const GpioLineFound& line : chip.lines)
        lines.push_back(Json{{"name", line.name}, {"used", line.used}, {"consumer", line.consumer}});
      list.push_back(Json{{"device", chip.device},
                          {"name", chip.name},
                          {"label", chip.label},
                          {"lines", lines},
                          {"can_open", chip.closed_because.empty()},
                          {"why_not", chip.closed_because}});
    }
    return list;
  }

  static void add_line(std::string& text, const std::string& what, const std::string& value) {
    if (!value.empty()) text += fmt::format("  {:13}{}\n", printable(what), printable(value));
  }

  static std::string to_text(const CameraFound& camera) {
    std::string text = printable(camera.name) + "\n";
    if (camera.device != camera.name) add_line(text, "device", camera.device);
    add_line(text, "camera", camera.card);
    add_line(text, "bus", camera.bus);
    for (const CameraFormat& format : camera.formats) {
      std::string modes;
      for (const CameraMode& mode : format.modes) {
        modes += fmt::format("{}{}{}x{}", modes.empty() ? "" : ", ", mode.or_less ? "up to " : "", mode.width,
                             mode.height);
        if (mode.most_fps > 0) modes += fmt::format(" {:.4g}/s", mode.most_fps);
      }
      add_line(text, format.name, modes.empty() ? "sizes unknown" : modes);
    }
    add_line(text, "open", camera.closed_because.empty() ? "yes" : "no: " + camera.closed_because);
    return text;
  }

  static Json to_json(const std::vector<CameraFound>& cameras) {
    Json list = Json::array();
    for (const CameraFound& camera : cameras) {
      Json formats = Json::array();
      for (const CameraFormat& format : camera.formats) {
        Json sizes = Json::array();
        for (const CameraMode& mode : format.modes)
          sizes.push_back(Json{{"width", mode.width},
                               {"height", mode.height},
                               {"or_less", mode.or_less},
                               {"most_fps", mode.most_fps}});
        formats.push_back(Json{{"name", format.name}, {"sizes", sizes}});
      }
      list.push_back(Json{{"name", camera.name},
                          {"device", camera.device},
                          {"card", camera.card},
                          {"bus", camera.bus},
                          {"formats", formats},
                          {"can_open", camera.closed_because.empty()},
                          {"why_not", camera.closed_because}});
    }
    return list;
  }

  static std::string to_text(const PortFound& port) {
    std::string text = printable(port.name) + "\n";
    const auto line = [&](const char* what, const std::string& value) { add_line(text, what, value); };
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
    return list;
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
    fmt::print("  outputs      {}: two for presses, the sync lamp, the supply\n", hello.outputs);
    fmt::print("  train        {} intervals ahead, {} us the shortest\n", hello.queue_entries,
               hello.min_ticks * (+link_tick_ns / 1e3));
  }

  static void print(const Json& json) { std::puts(json_text(json, 2).c_str()); }

  std::string hello_, probe_;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_ports_command() { return std::make_unique<PortsCommand>(); }

}  // namespace tachproof
