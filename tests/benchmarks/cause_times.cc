// How long do causes, grades and plans take? A table for RESULTS.md; nothing is asserted.
//
//     cause_times [without-plan]
#include <fmt/format.h>

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <functional>
#include <string_view>
#include <thread>

#include "bench/files/files.h"
#include "bench/run/grade.h"
#include "bench/run/plan_study.h"
#include "tests/bench/diagnosed_pairs.h"

namespace {

using namespace tachproof;

const std::filesystem::path source = TACHPROOF_SOURCE_DIR;

// On the wall, and of all processors together: on a busy machine the latter says more.
struct Took {
  double wall_s = 0, cpu_s = 0;
};
Took seconds_of(const std::function<void()>& what) {
  const auto before = std::chrono::steady_clock::now();
  const std::clock_t used = std::clock();
  what();
  return {std::chrono::duration<double>(std::chrono::steady_clock::now() - before).count(),
          static_cast<double>(std::clock() - used) / CLOCKS_PER_SEC};
}

void row(const std::string& measure, const std::string& aim, const Took& took, const std::string& more) {
  fmt::print("| {} | {} | {:.3f} s | {:.3f} s | {} |\n", measure, aim, took.cpu_s, took.wall_s, more);
  std::fflush(stdout);
}

struct Unit {
  const char* name;
  std::vector<FaultSetting> faults;
};

void diagnoses(const Gauge& gauge, const ScenarioFile& scenario) {
  const FaultSetting moved{"boundary-moved", {{"boundary", "on-limit"}}, {{"by_rpm", 12}}};
  const Unit units[] = {
      {"nothing wrong", {}},
      {"a boundary that moved", {moved}},
      {"a slow filter", {{"slow-filter", {}, {{"ms", 900}}}}},
      {"skipped updates", {{"dropped-updates", {}, {{"share", 0.99}}}}},
      {"a noisy reading", {{"noisy-reading", {}, {{"rpm", 15}}}}},
      {"a boundary that moved, and a lamp that is dark", {moved, {"stuck-off", {{"lamp", "top"}}, {}}}},
      {"three faults, which nothing explains",
       {moved, {"stuck-off", {{"lamp", "top"}}, {}}, {"deadband-width", {}, {{"rpm", 25}}}}}};
  for (const Unit& unit : units) {
    Behaviour behaviour;
    behaviour.response_ms = 20;
    behaviour.faults = unit.faults;
    const PlayedUnit played = played_unit(gauge, gauge, behaviour, scenario.steps);
    Diagnosis found;
    const Took s = seconds_of([&] { found = diagnose(gauge, {{played.result, played.evidence}}); });
    row(fmt::format("causes of a run of {:.0f} s: {}", to_seconds(played.result.duration), unit.name), "1 s",
        s, fmt::format("{} hypotheses judged, {} findings", found.judged, faults_found(played.result)));
  }
}

}  // namespace

int main(int argc, char** argv) {
  const Gauge gauge = load_gauge(source / "fixtures/gauges/drumlin.yaml");
  const ScenarioFile scenario = load_scenario(source / "scenarios/acceptance.yaml");
  fmt::print("| measure | aim | processor time | on the wall | of it |\n| --- | --- | --- | --- | --- |\n");
  diagnoses(gauge, scenario);

  GradeAsk ask;
  ask.scenarios = {{scenario.name, Profile(scenario.steps), scenario.noise, scenario.seed, scenario.judge}};
  Grade graded;
  const Took s = seconds_of([&] { graded = grade(gauge, ask); });
  row("grade of the acceptance, smallest sizes too", "10 s on two cores", s,
      fmt::format("{} faults, {} shifts, {} processors", graded.faults.size(), graded.shifts.size(),
                  std::thread::hardware_concurrency()));
  if (argc > 1 && std::string_view(argv[1]) == "without-plan") return 0;
  Plan plan;
  const Took plan_s = seconds_of([&] { plan = plan_scenario(gauge, {}); });
  row("plan for the Drumlin", "30 s", plan_s,
      fmt::format("{:.1f} s of bench time, {} trials, {} of {} faults caught",
                  to_seconds(plan.grade.bench_time()), plan.trials, plan.grade.count(Verdict::fail),
                  plan.grade.faults.size()));
}
