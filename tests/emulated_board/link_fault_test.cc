// Damage to the link in mid-run. Whatever happens, a run that ends without a
// complaint has the right evidence: never a wrong number.

#include <gtest/gtest.h>

#include <cstdlib>
#include <optional>
#include <random>
#include <string>

#include "tests/bench/unit_scene.h"
#include "tests/emulated_board/bench_with_board.h"
#include "tests/emulated_board/unit_on_pins.h"

namespace tachproof {
namespace {

using test::Signal;
using test::test_gauge;

BoardSettings settings() {
  BoardSettings out;
  out.wires = {{"in0", test::left_white},
               {"in1", test::left_blue},
               {"in2", test::right_white},
               {"in6", test::right_magenta},
               {"in7", test::top_blue}};
  return out;
}

Signal signal() {
  Signal out(3);
  out.ramp(2800, 7200, 0.4);
  return out;
}

struct Evidence {
  std::vector<LampEvent> events;
  std::vector<Cycles> edges;  // from the first, rising and falling
  bool operator==(const Evidence&) const = default;
};

// What a run has to show for itself, or nothing when it has complained.
struct Outcome {
  std::optional<Evidence> evidence;
  std::string complaint;
  std::uint64_t bytes_to_board = 0, bytes_to_host = 0;
};

Outcome run_with(const std::vector<LineFault>& faults) {
  const BoardSettings s = settings();
  SimulatedUnit unit(test_gauge(), test::exact_behaviour(), test_gauge());
  BenchWithBoard bench(s, std::make_unique<UnitOnPins>(std::move(unit), s.wires));
  for (const LineFault& fault : faults) bench.board().damage(fault);
  Outcome out;
  try {
    const Signal train = signal();
    const auto run = bench.run(train.pulses(), train.until());
    if (run.lost > 0) {
      out.complaint = "lost";
      return out;
    }
    out.evidence.emplace();
    out.evidence->events = run.events;
    for (const PinEdge& edge : bench.board().tach_edges())
      out.evidence->edges.push_back(edge.at - bench.board().tach_edges().front().at);
  } catch (const RigError& e) {
    out.complaint = e.what();
  }
  out.bytes_to_board = bench.board().bytes_to_board();
  out.bytes_to_host = bench.board().bytes_to_host();
  return out;
}

LineFault any_fault(std::mt19937& random, const Outcome& clean) {
  LineFault fault;
  fault.direction = random() % 2 ? LineFault::Direction::to_board : LineFault::Direction::to_host;
  fault.kind = std::array{LineFault::Kind::flip, LineFault::Kind::lose, LineFault::Kind::twice}[random() % 3];
  const bool to_board = fault.direction == LineFault::Direction::to_board;
  fault.byte = random() % (to_board ? clean.bytes_to_board : clean.bytes_to_host);
  fault.bit = random() % 8;
  return fault;
}

// Stamps may move a little, within the spread that the board admits: a resent
// greeting changes when everything else happens.
bool same_evidence(const Evidence& a, const Evidence& b) {
  if (a.edges != b.edges || a.events.size() != b.events.size()) return false;
  for (std::size_t i = 0; i < a.events.size(); ++i) {
    if (a.events[i].lit != b.events[i].lit) return false;
    if (std::abs(a.events[i].at - b.events[i].at) > 15 * ns_per_us) return false;
  }
  return true;
}

int number_from_environment(const char* name, int otherwise) {
  const char* value = std::getenv(name);
  return value != nullptr ? std::atoi(value) : otherwise;
}

TEST(LinkFault, NoRunEndsCleanWithDamagedEvidence) {
  const Outcome clean = run_with({});
  ASSERT_TRUE(clean.evidence) << clean.complaint;
  ASSERT_GT(clean.evidence->events.size(), 5u);
  std::mt19937 random(static_cast<unsigned>(number_from_environment("TACHPROOF_FAULT_SEED", 11)));
  int complained = 0;
  const int runs = number_from_environment("TACHPROOF_FAULT_RUNS", 300);
  for (int i = 0; i < runs; ++i) {
    std::vector<LineFault> faults{any_fault(random, clean)};
    if (i % 4 == 0) faults.push_back(any_fault(random, clean));
    const Outcome outcome = run_with(faults);
    if (!outcome.evidence) {
      ++complained;
      continue;
    }
    EXPECT_TRUE(same_evidence(*outcome.evidence, *clean.evidence)) << "run " << i;
  }
  // Most of the bytes belong to the run itself.
  EXPECT_GT(complained, runs / 2);
  RecordProperty("complained", complained);
}

}  // namespace
}  // namespace tachproof
