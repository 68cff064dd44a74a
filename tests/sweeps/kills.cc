// Runs that are killed at a random instant.
#include <chrono>
#include <csignal>
#include <cstdio>
#include <map>
#include <random>
#include <thread>

#include <fmt/format.h>

#include "tests/bench/simulated_generator.h"
#include "tests/sweeps/evidence.h"

namespace tachproof {
namespace {

using Clock = std::chrono::steady_clock;

struct Tally {
  int kills = 0, late = 0;  // late: the run had ended
  std::map<std::string, int> verdicts;
  int wrong = 0;
};

void add(Tally& tally, const Left& left, bool ended, const std::string& what) {
  ++tally.kills;
  tally.late += ended;
  ++tally.verdicts[left.verdict];
  if (left.wrong.empty()) return;
  ++tally.wrong;
  fmt::print(stderr, "{}: {}\n", what, left.wrong);
}

void print_row(const std::string& name, Tally& tally) {
  fmt::print("| {} | {} | {} | {} | {} | {} | {} | {} |\n", name, tally.kills, tally.late,
             tally.verdicts["none"], tally.verdicts["undecided"], tally.verdicts["pass"],
             tally.verdicts["fail"], tally.wrong);
}

void print_head() {
  fmt::print(
      "| run | kills | after its end | no folder | undecided | pass, verified | fail, verified | wrong |\n"
      "| --- | --- | --- | --- | --- | --- | --- | --- |\n");
}

// Kills runs of one rig at instants from 0 to a little after the end of an undisturbed one.
Tally kill_runs(const SweepBench& bench, const std::string& rig, int kills, std::mt19937& random) {
  const auto begun = Clock::now();
  run_process(bench.run_words(rig, "whole"), bench.path());
  const double whole_s = std::chrono::duration<double>(Clock::now() - begun).count();
  bench.forget("whole");
  Tally tally;
  for (int i = 0; i < kills; ++i) {
    const double at_s = std::uniform_real_distribution<double>(0, 1.1 * whole_s)(random);
    Process process(bench.run_words(rig, "out"), bench.path());
    std::this_thread::sleep_for(std::chrono::duration<double>(at_s));
    process.signal(SIGKILL);
    const bool ended = process.wait().status != 128 + SIGKILL;
    add(tally, bench.look("out", rig != "faulty"), ended,
        fmt::format("{}, killed after {:.4f} s", rig, at_s));
    bench.forget("out");
  }
  return tally;
}

}  // namespace

int sweep_kills(int kills, unsigned seed) {
  std::mt19937 random(seed);
  const SweepBench bench;
  Tally sound = kill_runs(bench, "sound", (kills + 1) / 2, random);
  Tally faulty = kill_runs(bench, "faulty", kills / 2, random);
  print_head();
  print_row("simulated rig, sound unit", sound);
  print_row("simulated rig, faulty unit", faulty);
  return sound.wrong + faulty.wrong;
}

// What a kill leaves on is on: nothing can switch it off. The folder does not pass.
int sweep_generator_kills(int kills, unsigned seed) {
  std::mt19937 random(seed);
  const SweepBench bench;
  test::SimulatedGenerator generator(std::make_shared<test::VirtualClock>(), {});
  bench.write_generator_rig(generator.address());
  Tally tally = kill_runs(bench, "generator", kills, random);
  print_head();
  print_row("simulated generator, sound unit", tally);
  return tally.wrong;
}

int sweep_supply_kills(int kills, unsigned seed) {
  std::mt19937 random(seed);
  const SweepBench bench;
  test::SimulatedGenerator generator(std::make_shared<test::VirtualClock>(), {});
  test::SimulatedGenerator supply(std::make_shared<test::VirtualClock>(), test::power_supply_nature());
  bench.write_supply_rig(generator.address(), supply.address());
  Tally tally = kill_runs(bench, "supply", kills, random);
  print_head();
  print_row("simulated generator and power supply, sound unit", tally);
  return tally.wrong;
}

}  // namespace tachproof
