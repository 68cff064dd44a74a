#include "tests/page/small_shop.h"

#include <algorithm>
#include <fstream>

#include "tests/program/files_for_tests.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

// Over both boundaries and back within five seconds: so that a person's day is short enough for a test.
constexpr const char* short_scenario = R"(format: 1
kind: scenario
name: up and down
seed: 7
profile:
  - {hold: 2900, for: 500ms}
  - {ramp: 4400, rate: 1000}
  - {hold: 4400, for: 500ms}
  - {ramp: 2900, rate: 1000}
  - {hold: 2900, for: 500ms}
judge: {transitions: true, steady: true, blink: true, thresholds: false}
)";

}  // namespace

SmallShop::SmallShop() {
  for (const char* name : {"gauges", "rigs", "scenarios", "jobs"}) fs::create_directory(scratch_ / name);
  write("gauges/two-lamp.yaml", files::gauge);
  write_rig("bench-1");
  write_rig("bench-2", late_far_lamp);
  write("scenarios/short.yaml", short_scenario);
  write("scenarios/asks.yaml", files::replaced(short_scenario, "judge:",
                                               "  - {ask: \"Which lamp is lit?\", expect: {equals: none}}\n"
                                               "  - {hold: 2900, for: 500ms}\njudge:"));
  write("scenarios/endless.yaml", files::endless_scenario);
}

void SmallShop::write(const std::string& name, const std::string& text) const {
  fs::create_directories((scratch_ / name).parent_path());
  scratch_.write(name, text);
}

void SmallShop::write_rig(const std::string& name, const std::string& fault) const {
  const std::string rig = files::replaced(files::rig, "gauge.yaml", "../gauges/two-lamp.yaml");
  write("rigs/" + name + ".yaml", files::replaced(rig, "faults: []", "faults: [" + fault + "]"));
}

void SmallShop::write_job(const std::string& file, const std::string& name, const std::string& play,
                          const std::string& rig, const std::string& more) const {
  write("jobs/" + file, "format: 1\nkind: job\nname: " + name + "\ngauge: ../gauges/two-lamp.yaml\nplay: " +
                            play + "\nrig: ../rigs/" + rig + ".yaml\n" + more);
}

std::vector<std::string> SmallShop::runs() const {
  std::vector<std::string> found;
  std::error_code none;
  for (const auto& entry : fs::recursive_directory_iterator(scratch_ / "runs", none))
    if (entry.path().filename() == "result.json")
      found.push_back(entry.path().parent_path().lexically_relative(scratch_ / "runs").string());
  std::sort(found.begin(), found.end());
  return found;
}

nlohmann::json SmallShop::result(const std::string& run) const {
  return nlohmann::json::parse(std::ifstream(scratch_ / "runs" / run / "result.json"));
}

}  // namespace tachproof
