// A small shop in a scratch folder, for tests of the bench page: a gauge of two lamps, short scenarios, sound
// and faulty rigs.
#pragma once

#include <chrono>
#include <string>
#include <thread>

#include "bench/page/bench_page.h"
#include "tests/bench/scratch_folder.h"

namespace tachproof::test {

inline constexpr const char* esk_yaml = R"(format: 1
kind: gauge
name: Esk two-lamp gauge
pulses_per_rev: 2
anchors: {lane: 3150}
lamps:
  - {id: west, colours: [cyan, violet]}
  - {id: east, colours: [cyan]}
windows:
  - {name: clear, from: 0, show: {}}
  - {name: near, from: {lane: -120}, show: {west: cyan}}
  - {name: held, from: {lane: -40}, show: {west: cyan, east: cyan}}
  - {name: above, from: {lane: 0}, show: {west: violet}}
deadband: {rpm: 5, sits: below}
tolerance: {rpm: 3, response_ms: {from: 0, to: 100}, settle_ms: 10}
)";

struct PageShop {
  ScratchFolder scratch;

  PageShop() {
    for (const char* folder : {"jobs", "gauges", "rigs", "scenarios"})
      std::filesystem::create_directories(scratch / folder);
    scratch.write("gauges/esk.yaml", esk_yaml);
    rig("sound", "");
    rig("faulty", "{kind: boundary-moved, boundary: held, by_rpm: 12}");
    scenario(
        "lane",
        "  - {hold: 2950, for: 300ms}\n"
        "  - repeat: 2\n    steps: [{ramp: 3200, rate: 50}, {hold: 3200, for: 300ms}, {ramp: 2950, rate: "
        "50}]\n"
        "  - {ramp: 3200, rate: 200}\n  - {ramp: 2950, rate: 200}\n"
        "  - repeat: 3\n    steps: [{step: 3200}, {hold: 3200, for: 500ms}, {step: 2950}, {hold: 2950, for: "
        "500ms}]\n");
    scenario(
        "asks",
        "  - {hold: 3200, for: 600ms}\n  - {ask: \"Which word is on the dial?\", expect: {equals: LANE}}\n"
        "  - {hold: 2950, for: 600ms}\n",
        "judge: {thresholds: false}\n");
    scenario("long", "  - {hold: 3200, for: 30s}\n  - {hold: 2950, for: 1s}\n",
             "judge: {thresholds: false}\n");
  }

  void rig(const std::string& name, const std::string& fault) {
    scratch.write(
        "rigs/" + name + ".yaml",
        "format: 1\nkind: rig\nsource: {kind: simulated}\nwatch: {kind: simulated, unit: ../gauges/esk.yaml, "
        "behaviour: {response_ms: 20, faults: [" +
            fault + "]}}\n");
  }
  void scenario(const std::string& name, const std::string& steps, const std::string& more = "") {
    scratch.write("scenarios/" + name + ".yaml",
                  "format: 1\nkind: scenario\nname: " + name + "\nseed: 1\nprofile:\n" + steps + more);
  }
  void job(const std::string& name, const std::string& plays, const std::string& rig,
           const std::string& more = "") {
    scratch.write("jobs/" + name + ".yaml", "format: 1\nkind: job\nname: Job " + name +
                                                "\ngauge: ../gauges/esk.yaml\nplay: " + plays +
                                                "\nrig: ../rigs/" + rig + ".yaml\n" + more);
  }

  TileSettings settings(bool real_time = false) const { return {real_time, "", true}; }
};

// Looks again until it is so; false after ten seconds.
template <class IsSo>
bool eventually(IsSo is_so) {
  for (int i = 0; i < 1000; ++i) {
    if (is_so()) return true;
    std::this_thread::sleep_for(std::chrono::milliseconds(10));
  }
  return false;
}

}  // namespace tachproof::test
