#include <fmt/format.h>

#include <cstdio>

#include "bench/commands/command.h"
#include "bench/commands/grading.h"
#include "bench/commands/load.h"
#include "bench/commands/output_file.h"
#include "bench/commands/planning.h"
#include "bench/commands/terminal.h"
#include "bench/commands/units.h"
#include "bench/record/text.h"
#include "bench/reports/fault_json.h"

namespace tachproof {

ScenarioInput planned_scenario(const Plan& plan, const std::string& file) {
  ScenarioFile scenario;
  scenario.name = plan.scenario.name;
  scenario.seed = plan.scenario.seed;
  scenario.steps = steps_of(plan.parts);
  scenario.judge = plan.scenario.what;
  return scenario_input(file, std::move(scenario), plan_yaml(plan));
}

Plan planned_for(const Gauge& gauge, const RigModel& rig, double within_rpm, unsigned threads) {
  PlanAsk ask;
  ask.rig = rig;
  ask.within_rpm = within_rpm;
  ask.threads = threads;
  try {
    return plan_scenario(gauge, ask);
  } catch (const std::invalid_argument& e) {
    throw UsageError(e.what());
  }
}

ScenarioInput plan_to_play(const Gauge& gauge, const RigInput& rig) {
  const Plan plan = planned_for(gauge, model_of(rig.rig, rig.file, gauge), 0, 0);
  if (!plan.sound_units_pass)
    throw UsageError("no scenario was found that a unit without a fault would pass: " + plan.why +
                     ". Write a scenario, or measure with 'tachproof survey'");
  if (is_terminal(stderr)) fmt::print(stderr, "The plan: {}\n", plan_answer(plan));
  return planned_scenario(plan, "plan.yaml");
}

std::string plan_answer(const Plan& plan) {
  return fmt::format("It catches {} of {} faults in {} s of bench time.", plan.grade.count(Verdict::fail),
                     plan.grade.faults.size(), fixed(to_seconds(plan.grade.bench_time()), 1));
}

namespace {

class PlanCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "plan",
        "writes the shortest scenario that catches the whole fault list",
        "--gauge FILE --out FILE [--within RPM] [--rig FILE] [--threads N] [--json]",
        "Makes a scenario from a gauge file alone: a slow ramp across each boundary, both ways, a rest in "
        "each window, enough blinks, and jumps that tell a slow response from a high threshold. It then "
        "makes all of that shorter, as long as simulated units without a fault pass, every threshold is "
        "known to half the tolerance, and no fault of the list escapes that a slow scenario catches. What "
        "the list is, 'tachproof grade --help' says.\n\n"
        "The file is a scenario like any other, with comments: read it, change it, play it with 'tachproof "
        "run'. 'tachproof run --gauge FILE --rig FILE' without a scenario plans and plays in one go.\n\n"
        "With --rig, the plan allows for what that rig knows less well. The rig is not opened. With "
        "--within, a run of the plan passes only when every threshold is known to that uncertainty.",
        "0  done\n2  bad usage or a bad file\n3  no scenario was found that a unit without a fault passes",
        {"tachproof plan --gauge fixtures/gauges/drumlin.yaml --out plan.yaml"}};
  }

  void declare(Arguments& arguments) override {
    arguments.required(gauge_, "--gauge", "FILE", "The gauge file: what the unit should do.");
    arguments.required(out_, "--out", "FILE", "Where to write the scenario.");
    arguments.option(within_, "--within", "RPM", "Expanded uncertainty that is wanted of every threshold.");
    arguments.option(rig_, "--rig", "FILE", "The rig file, for what it knows less well. It is not opened.");
    arguments.option(threads_, "--threads", "N", "Threads to use. Default: one for each processor.");
    arguments.flag(json_, "--json", "Prints JSON.");
  }

  int run() override {
    const unsigned threads = threads_in(threads_);
    double within = 0;
    if (!within_.empty()) {
      within = plain_number("--within", within_);
      if (!(within > 0 && within <= 1000))
        throw UsageError("--within is '" + within_ + "'; a number above 0, at most 1000");
    }
    const Gauge gauge = load_gauge(gauge_);
    const Plan plan = planned_for(gauge, load_model(rig_, gauge), within, threads);
    write_output(out_, plan_yaml(plan));
    if (json_)
      print_json(plan);
    else
      print(plan);
    return plan.sound_units_pass ? exit_pass : exit_undecided;
  }

 private:
  static void print_json(const Plan& plan) {
    Json out;
    out["bench_time_s"] = to_seconds(plan.grade.bench_time());
    out["faults"] = plan.grade.faults.size();
    out["caught"] = plan.grade.count(Verdict::fail);
    out["sound_units_pass"] = plan.sound_units_pass;
    out["why"] = text_to_json(plan.why);
    out["left"] = Json::array();
    for (const GradedFault& fault : plan.grade.faults)
      if (fault.verdict != Verdict::fail)
        out["left"].push_back({{"fault", fault_json(fault.listed.fault, plan.grade.gauge)},
                               {"text", text_to_json(describe(fault.listed.fault, plan.grade.gauge))},
                               {"why", text_to_json(fault.why.clause)}});
    std::puts(json_text(out, 2).c_str());
  }

  void print(const Plan& plan) const {
    const auto columns = static_cast<std::size_t>(columns_of(stdout));
    std::string text = fmt::format("{}: {}", out_, plan_answer(plan));
    if (!plan.sound_units_pass)
      text += " But a unit without a fault would not pass: " + plan.why +
              ". Widen the tolerance in the gauge file, or measure with a survey.";
    for (const std::string& line : wrapped(text, columns)) fmt::print("{}\n", line);
    for (const GradedFault& fault : plan.grade.faults) {
      if (fault.verdict == Verdict::fail) continue;
      for (const std::string& line :
           wrapped("not caught: " + describe(fault.listed.fault, plan.grade.gauge) + ": " + fault.why.clause,
                   columns))
        fmt::print("{}\n", line);
    }
  }

  std::string gauge_, out_, within_, rig_, threads_;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_plan_command() { return std::make_unique<PlanCommand>(); }

}  // namespace tachproof
