// A simulated signal generator and a simulated unit that hears it, in real time,
// whose lamps pull the lines of a gpio-sim chip: all that `tachproof run` needs to
// meet the kernel.
//
//     live_unit GAUGE RIG LINES
//
// RIG: its simulated watch says what the unit is. LINES: the names of the chip's
// lines, one a channel of the gauge, with commas. Prints the generator's address;
// runs until it is killed or its input ends. `unplug` on its input removes the chip.
#include <fmt/format.h>
#include <poll.h>
#include <unistd.h>

#include <atomic>
#include <cstdio>
#include <iostream>
#include <sstream>
#include <thread>

#include "bench/files/files.h"
#include "bench/rigs/pulse_wire.h"
#include "bench/rigs/simulated/simulated_unit.h"
#include "tests/bench/simulated_generator.h"
#include "tests/guest/sim_chip.h"

namespace tachproof::test {
namespace {

constexpr Nanos step = 2 * ns_per_ms;

int run(const std::string& gauge_file, const std::string& rig_file, const std::string& names) {
  const Gauge gauge = load_gauge(gauge_file);
  const RigFile rig = load_rig(rig_file);
  std::vector<SimChip::Line> lines;
  std::istringstream words(names);
  for (std::string name; std::getline(words, name, ',');) lines.push_back({name, ""});
  if (lines.size() != gauge.channels()) throw std::runtime_error("as many lines as channels");
  SimChip chip("fen", lines);
  const std::shared_ptr<CommandClock> clock = monotonic_clock();
  const SimulatedGenerator generator(clock, {});
  SimulatedUnit unit(rig.watch.unit.value_or(gauge), rig.watch.behaviour, gauge);
  fmt::print("{}\n", generator.address());
  std::fflush(stdout);

  const Nanos zero = clock->now();
  PulseWire wire;
  EvenPulses output;
  std::size_t heard = 0;
  std::vector<LampEvent> events;
  Channels shown = 0;
  std::atomic<bool> over{false}, unplug{false};
  std::thread listener([&] {
    for (std::string line; std::getline(std::cin, line);)
      if (line == "unplug") unplug = true;
    over = true;
  });
  for (Nanos now = 0; !over; now += step) {
    clock->wait_until(zero + now);
    if (unplug) {
      chip.unplug();
      unplug = false;
      shown = ~Channels{0};
    }
    const std::vector<OutputState> states = generator.output();
    for (; heard < states.size() && states[heard].at - zero <= now; ++heard)
      output.frequency(states[heard].at - zero, states[heard].hz, wire);
    output.run_until(now, wire);
    unit.run(wire.pulses, now, events);
    wire.pulses.clear();
    for (const LampEvent& event : events) {
      if (shown == ~Channels{0}) break;  // nothing to pull any more
      for (std::size_t i = 0; i < lines.size(); ++i)
        if (((event.lit ^ shown) >> i & 1) != 0)
          chip.pull(static_cast<unsigned>(i), (event.lit >> i & 1) != 0);
      shown = event.lit;
    }
    events.clear();
  }
  listener.join();
  return 0;
}

}  // namespace
}  // namespace tachproof::test

int main(int argc, char** argv) {
  try {
    if (argc != 4) throw std::runtime_error("live_unit GAUGE RIG LINES");
    return tachproof::test::run(argv[1], argv[2], argv[3]);
  } catch (const std::exception& e) {
    std::cerr << "live_unit: " << e.what() << "\n";
    return 2;
  }
}
