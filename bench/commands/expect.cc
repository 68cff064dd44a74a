#include "bench/record/json_values.h"
#include "core/judge/expected_states.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <nlohmann/json.hpp>
#include <optional>

#include "bench/commands/command.h"
#include "bench/commands/foresight_words.h"
#include "bench/commands/load.h"
#include "bench/commands/terminal.h"
#include "bench/files/files.h"
#include "bench/rigs/scpi/scpi_source.h"

namespace tachproof {

namespace {

class ExpectCommand : public Command {
 public:
  CommandHelp help() const override {
    return {"expect",
            "the transitions that a scenario demands, without a rig",
            "SCENARIO --gauge FILE [--rig FILE] [--json]",
            "Prints every transition that a unit with these settings must make in this scenario: its "
            "boundary, its direction, the threshold with the deadband applied, and the earliest, nominal and "
            "latest instant that the tolerance and the allowed response leave. Only the settings and the "
            "profile count; the scenario's noise is left out.\n\n"
            "A second table says what the scenario can decide. For each boundary, both ways, it shows how "
            "often it is crossed and the uncertainty to expect of its threshold. This assumes a unit that "
            "rounds to 1 rpm and updates every 10 ms. It says whether that decides at the gauge's tolerance, "
            "and what to add if not.\n\n"
            "With --rig, if its source is a signal generator: also how far the generator's steps may be from "
            "the profile. Earliest and latest then allow for that.",
            "0  done\n2  bad usage or a bad file",
            {"tachproof expect scenarios/acceptance.yaml --gauge fixtures/gauges/drumlin.yaml"}};
  }

  void declare(Arguments& arguments) override {
    arguments.word(scenario_, "SCENARIO", "The scenario file.");
    arguments.required(gauge_, "--gauge", "FILE", "The gauge file: what the unit should do.");
    arguments.option(rig_, "--rig", "FILE", "The rig file, for what its source adds.");
    arguments.flag(json_, "--json", "Prints JSON.");
  }

  int run() override {
    Errors errors;
    const auto gauge = errors.collect([&] { return load_gauge(gauge_); });
    const auto scenario = errors.collect([&] { return load_scenario(scenario_); });
    const auto rig = errors.collect([&] { return rig_.empty() ? RigFile() : load_rig(rig_); });
    errors.throw_if_any();
    const Profile profile = make_profile(*scenario, scenario_);
    ExpectationOptions options;
    std::optional<Steps> steps;
    if (rig->source.scpi) {
      const ScpiSetting& setting = *rig->source.scpi;
      steps = steps_of(profile, setting, frequency_bound_rpm(setting, gauge->pulses_per_rev));
      options.source_lag = steps->lag;
      options.extra_rpm = [rpm = steps->rpm](double) { return rpm; };
    }
    const std::vector<ExpectedState> expected = expect_states(*gauge, profile, options);
    if (steps)
      for (const ExpectedTransition& t : expected.front().run.transitions)
        steps->worst_at_a_threshold =
            std::max(steps->worst_at_a_threshold,
                     steps->error_at(profile, t.nominal - gauge->tolerance.response_from));
    ForesightSetup asked;
    asked.noise = scenario->noise;
    asked.within_rpm = scenario->judge.within_rpm;
    if (steps) {
      asked.source.lag = steps->lag;
      asked.source.rpm = steps->rpm;
    }
    const Foresight foresight = foresee(*gauge, profile, asked);
    if (json_) {
      print_json(*gauge, expected, foresight, steps);
    } else {
      print(*gauge, expected, steps);
      if (expected.size() == 1)
        std::fputs(foresight_text(*gauge, foresight, columns_of(stdout)).c_str(), stdout);
      else
        fmt::print("How well each threshold will be known is not foreseen: this scenario moves boundaries.\n");
    }
    return exit_pass;
  }

 private:
  // What a signal generator makes of a profile.
  struct Steps {
    Nanos lag = 0;
    double rpm = 0;                   // bound, beside the lag
    double worst_on_a_ramp = 0;       // rpm
    double worst_at_a_threshold = 0;  // rpm, of those that the scenario crosses
    std::size_t changes = 0;

    double error_at(const Profile& profile, Nanos t) const {
      return std::abs(profile.slope_at(t)) * to_seconds(lag) + rpm;
    }
  };

  static Steps steps_of(const Profile& profile, const ScpiSetting& setting, double rpm) {
    const SteppedTiming timing = stepped_timing(setting);
    Steps steps{source_lag(timing), rpm, worst_ramp_error_rpm(profile, {timing.change, rpm}), 0, 0};
    SteppedRpm stepped(timing);
    for (const Segment& segment : profile.segments()) stepped.add(segment);
    while (stepped.next(profile.duration())) ++steps.changes;
    return steps;
  }

  static void print_json(const Gauge& gauge, const std::vector<ExpectedState>& expected,
                         const Foresight& foresight, const std::optional<Steps>& steps) {
    nlohmann::ordered_json out;
    out["transitions"] = nlohmann::ordered_json::array();
    for (const ExpectedState& state : expected)
      for (const ExpectedTransition& t : state.run.transitions) {
        nlohmann::ordered_json row{{"boundary", gauge.windows[t.boundary].name},
                                   {"direction", word(t.direction)},
                                   {"nominal_rpm", t.nominal_rpm},
                                   {"earliest_s", to_seconds(t.earliest)},
                                   {"nominal_s", to_seconds(t.nominal)},
                                   {"latest_s", to_seconds(t.latest)}};
        if (!state.state.name.empty()) row["state"] = state.state.name;
        out["transitions"].push_back(std::move(row));
      }
    add_foresight(out, gauge, foresight);
    if (steps)
      out["source"] = {{"lag_ms", to_ms(steps->lag)},
                       {"within_rpm", steps->rpm},
                       {"worst_on_a_ramp_rpm", steps->worst_on_a_ramp},
                       {"worst_at_a_threshold_rpm", steps->worst_at_a_threshold},
                       {"changes", steps->changes}};
    std::puts(json_text(out, 2).c_str());
  }

  static void print(const Gauge& gauge, const std::vector<ExpectedState>& expected,
                    const std::optional<Steps>& steps) {
    std::size_t widest = std::string_view("boundary").size();
    for (const Window& window : gauge.windows) widest = std::max(widest, window.name.size());
    fmt::print("{:{}}  {:9}{:>10}{:>13}{:>13}{:>13}\n", "boundary", widest, "direction", "rpm", "earliest s",
               "nominal s", "latest s");
    std::size_t transitions = 0;
    for (const ExpectedState& state : expected) {
      if (!state.state.name.empty())
        fmt::print("{}, from {:.4f} s:{}\n", state.state.name, to_seconds(state.answered_from),
                   state.state.unknown.empty() ? "" : " " + state.state.unknown);
      for (const ExpectedTransition& t : state.run.transitions)
        fmt::print("{:{}}  {:9}{:>10.1f}{:>13.4f}{:>13.4f}{:>13.4f}\n", gauge.windows[t.boundary].name,
                   widest, word(t.direction), t.nominal_rpm, to_seconds(t.earliest), to_seconds(t.nominal),
                   to_seconds(t.latest));
      transitions += state.run.transitions.size();
    }
    fmt::print("{} transitions\n", transitions);
    if (steps)
      fmt::print(
          "The generator plays this in {} steps, which follow the profile within {:.1f} ms and {:.2f} "
          "rpm.\nAt most {:.2f} rpm off on a ramp or wave, {:.2f} rpm where a threshold is crossed.\n",
          steps->changes, to_ms(steps->lag), steps->rpm, steps->worst_on_a_ramp, steps->worst_at_a_threshold);
  }

  std::string scenario_, gauge_, rig_;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_expect_command() { return std::make_unique<ExpectCommand>(); }

}  // namespace tachproof
