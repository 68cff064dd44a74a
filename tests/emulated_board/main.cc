// The emulated board as a program: what a real one is to `tachproof run`.
//
//     emulated-board --gauge drumlin.yaml --rig board.yaml --unit simulated.yaml --link /tmp/board
//
// or, to practise a calibration,
//
//     emulated-board --reference in7 --hz 1 --fast-ppm 40 --link /tmp/board
//
// then a rig file with `port: /tmp/board`. Paced by the wall clock, unless
// --lock-step names a socket to be made (see board_server.h).

#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <CLI/CLI.hpp>
#include <atomic>
#include <csignal>
#include <filesystem>
#include <iostream>
#include <memory>
#include <stdexcept>

#include "bench/files/files.h"
#include "bench/rigs/board/board.h"
#include "tests/emulated_board/board_server.h"
#include "tests/emulated_board/reference_on_pin.h"
#include "tests/emulated_board/unit_on_pins.h"

namespace tachproof {
namespace {

std::atomic<bool> stop = false;

struct Options {
  std::filesystem::path firmware = TACHPROOF_BOARD_ELF;
  std::filesystem::path gauge, rig, unit, link, lock_step;
  std::string reference;
  double hz = 1, fast_ppm = 0;
  std::vector<std::string> requests;
};

// The unit that the board's inputs are wired to.
std::unique_ptr<WiredUnit> make_unit(const Options& options) {
  const Gauge gauge = load_gauge(options.gauge);
  const RigFile rig = load_rig(options.rig);
  const RigFile unit = load_rig(options.unit);
  if (!rig.watch.wiring) throw std::runtime_error(options.rig.string() + ": no wiring in its watch part");
  if (!unit.watch.unit) throw std::runtime_error(options.unit.string() + ": no unit in its watch part");
  std::vector<std::string> buttons(2);
  for (const auto& [action, output] : rig.source.buttons) buttons[output == "press-2"] = action;
  return std::make_unique<UnitOnPins>(SimulatedUnit(*unit.watch.unit, unit.watch.behaviour, gauge),
                                      resolve(*rig.watch.wiring, gauge), rig.watch.wiring->active_high,
                                      buttons);
}

std::unique_ptr<WiredUnit> make_reference(const Options& options) {
  const std::optional<unsigned> input = board_input(options.reference);
  if (!input) throw std::runtime_error("the board has no input " + options.reference);
  return std::make_unique<ReferenceOnPin>(*input, options.hz, options.fast_ppm);
}

int accept_one(const std::filesystem::path& path) {
  const int listener = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  if (path.string().size() >= sizeof address.sun_path)
    throw std::runtime_error(path.string() + ": too long a name");
  path.string().copy(address.sun_path, sizeof address.sun_path - 1);
  std::filesystem::remove(path);
  if (bind(listener, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0 ||
      listen(listener, 1) != 0)
    throw std::runtime_error(path.string() + ": cannot be made a socket");
  const int connection = accept(listener, nullptr, nullptr);
  close(listener);
  return connection;
}

void serve(const Options& options) {
  EmulatedBoard board(options.firmware);
  if (!options.unit.empty()) board.attach(make_unit(options));
  if (!options.reference.empty()) board.attach(make_reference(options));
  BoardServer server(board);
  for (const std::string& request : options.requests)
    if (server.answer(request) != "ok") throw std::runtime_error("not understood: " + request);
  if (!options.link.empty()) {
    std::filesystem::remove(options.link);
    std::filesystem::create_symlink(server.port(), options.link);
  }
  std::cout << server.port() << std::endl;
  if (options.lock_step.empty())
    server.serve_paced(stop);
  else
    server.serve_lock_step(accept_one(options.lock_step));
  if (!options.link.empty()) std::filesystem::remove(options.link);
}

}  // namespace
}  // namespace tachproof

int main(int argc, char** argv) {
  using namespace tachproof;
  Options options;
  CLI::App app("The bench's board, emulated; says its port and stays until it is interrupted");
  app.add_option("--firmware", options.firmware, "the board's ELF file")->check(CLI::ExistingFile);
  auto* gauge = app.add_option("--gauge", options.gauge, "the gauge, in whose lamps the wiring speaks");
  auto* rig = app.add_option("--rig", options.rig, "a rig file with the board's wiring");
  auto* unit = app.add_option("--unit", options.unit, "a rig file with the simulated unit to wire")
                   ->needs(gauge)
                   ->needs(rig);
  app.add_option("--reference", options.reference,
                 "in place of a unit: the input, such as in7, that gets --hz")
      ->excludes(unit);
  app.add_option("--hz", options.hz, "the reference's pulses per second")->check(CLI::PositiveNumber);
  app.add_option("--fast-ppm", options.fast_ppm, "how fast the board's clock is by the reference");
  app.add_option("--link", options.link, "a symbolic link to the port, to be made");
  app.add_option("--lock-step", options.lock_step, "the side socket, to be made; else by the wall clock");
  app.add_option("--request", options.requests, "such as 'fault to-board flip 1000 3'; may be repeated");
  CLI11_PARSE(app, argc, argv);
  std::signal(SIGINT, [](int) { stop = true; });
  std::signal(SIGTERM, [](int) { stop = true; });
  try {
    serve(options);
  } catch (const std::exception& e) {
    std::cerr << e.what() << "\n";
    return 1;
  }
  return 0;
}
