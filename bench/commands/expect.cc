#include "bench/record/json_values.h"
#include "core/judge/expected_states.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <nlohmann/json.hpp>
#include <optional>

#include "bench/commands/command.h"
#include "bench/commands/driver_view.h"
#include "bench/commands/foresight_words.h"
#include "bench/commands/input_words.h"
#include "bench/commands/load.h"
#include "bench/commands/output_file.h"
#include "bench/commands/terminal.h"
#include "bench/files/files.h"
#include "bench/record/text.h"
#include "bench/rigs/scpi/scpi_source.h"

namespace tachproof {

namespace {

class ExpectCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "expect",
        "the transitions that a scenario demands, without a rig",
        "SCENARIO --gauge FILE [--rig FILE] [--json] [--html FILE]",
        "Prints every transition that a unit with these settings must make in this scenario: its "
        "boundary, its direction, the threshold with the deadband applied, and the earliest, nominal and "
        "latest instant that the tolerance and the allowed response leave. Only the settings and the "
        "profile count; the scenario's noise is left out.\n\n"
        "A second table says what the scenario can decide. For each boundary, both ways, it shows how "
        "often it is crossed and the uncertainty to expect of its threshold. This assumes a unit that "
        "rounds to 1 rpm and updates every 10 ms. It says whether that decides at the gauge's tolerance, "
        "and what to add if not.\n\n"
        "With --rig, if its source is a signal generator: also how far the generator's steps may be from "
        "the profile. Earliest and latest then allow for that.\n\n"
        "Of a gauge with a drive, each threshold's speed stands beside its rpm. Of a scenario that replays a "
        "log, a last table says what the driver should have seen, and for how long. --html draws it.",
        "0  done\n2  bad usage or a bad file",
        {"tachproof expect scenarios/acceptance.yaml --gauge fixtures/gauges/drumlin.yaml"}};
  }

  void declare(Arguments& arguments) override {
    arguments.word(scenario_, "SCENARIO", "The scenario file.");
    arguments.required(gauge_, "--gauge", "FILE", "The gauge file: what the unit should do.");
    arguments.option(rig_, "--rig", "FILE", "The rig file, for what its source adds.");
    arguments.flag(json_, "--json", "Prints JSON.");
    arguments.option(html_, "--html", "FILE", "Writes a page that draws the rpm and what must be seen.");
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
    // All states one after the other: what a driver sees.
    ExpectedRun whole;
    for (const ExpectedState& state : expected) {
      whole.reaches.insert(whole.reaches.end(), state.run.reaches.begin(), state.run.reaches.end());
      whole.transitions.insert(whole.transitions.end(), state.run.transitions.begin(),
                               state.run.transitions.end());
    }
    const std::vector<WindowSeen> seen = windows_seen(*gauge, whole, profile.duration());
    if (!html_.empty()) write_output(html_, driver_view_html(*gauge, scenario->name, profile, whole));
    if (json_) {
      print_json(*gauge, expected, foresight, steps, seen);
    } else {
      for (const std::string& line : logs_in_words(*scenario))
        fmt::print("{}", as_paragraph("", line, static_cast<std::size_t>(columns_of(stdout))));
      print(*gauge, expected, steps);
      if (expected.size() == 1)
        std::fputs(foresight_text(*gauge, foresight, columns_of(stdout)).c_str(), stdout);
      else
        fmt::print(
            "How well each threshold will be known is not foreseen: this scenario moves boundaries.\n");
      if (!scenario->logs.empty()) std::fputs(seen_text(*gauge, seen).c_str(), stdout);
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
                         const Foresight& foresight, const std::optional<Steps>& steps,
                         const std::vector<WindowSeen>& seen) {
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
        if (gauge.drive) {
          const Quantity speed = speed_set(gauge, t.nominal_rpm);
          row["speed_kmh"] = in_unit(speed.value, SpeedUnit::kmh);
          row["speed_expanded_uncertainty_kmh"] =
              speed_coverage * in_unit(speed.standard_uncertainty, SpeedUnit::kmh);
        }
        out["transitions"].push_back(std::move(row));
      }
    add_foresight(out, gauge, foresight);
    add_seen(out, gauge, seen);
    if (steps)
      out["source"] = {{"lag_ms", to_ms(steps->lag)},
                       {"within_rpm", steps->rpm},
                       {"worst_on_a_ramp_rpm", steps->worst_on_a_ramp},
                       {"worst_at_a_threshold_rpm", steps->worst_at_a_threshold},
                       {"changes", steps->changes}};
    std::puts(json_text(out, 2).c_str());
  }

  static Quantity speed_set(const Gauge& gauge, double rpm) {
    return gauge.drive->speed_when_set(rpm, gauge.tolerance.rpm);
  }

  static void print(const Gauge& gauge, const std::vector<ExpectedState>& expected,
                    const std::optional<Steps>& steps) {
    std::size_t widest = std::string_view("boundary").size();
    for (const Window& window : gauge.windows) widest = std::max(widest, window.name.size());
    // Two columns more, where the rpm mean speeds; the instants then stand closer.
    const int wide = gauge.drive ? 11 : 13;
    const std::string unit(gauge.drive ? word(gauge.drive->said_in) : "");
    const auto speed = [&](double rpm) {
      if (!gauge.drive) return std::string();
      const Quantity v = speed_set(gauge, rpm);
      return fmt::format("{:>9.2f}{:>7.2f}", in_unit(v.value, gauge.drive->said_in),
                         speed_coverage * in_unit(v.standard_uncertainty, gauge.drive->said_in));
    };
    fmt::print("{:{}}  {:9}{:>10}{}{:>{}}{:>{}}{:>{}}\n", "boundary", widest, "direction", "rpm",
               gauge.drive ? fmt::format("{:>9}{:>7}", unit, "+-") : "", "earliest s", wide, "nominal s",
               wide, "latest s", wide);
    std::size_t transitions = 0;
    for (const ExpectedState& state : expected) {
      if (!state.state.name.empty())
        fmt::print("{}, from {:.4f} s:{}\n", state.state.name, to_seconds(state.answered_from),
                   state.state.unknown.empty() ? "" : " " + state.state.unknown);
      for (const ExpectedTransition& t : state.run.transitions)
        fmt::print("{:{}}  {:9}{:>10.1f}{}{:>{}.4f}{:>{}.4f}{:>{}.4f}\n", gauge.windows[t.boundary].name,
                   widest, word(t.direction), t.nominal_rpm, speed(t.nominal_rpm), to_seconds(t.earliest),
                   wide, to_seconds(t.nominal), wide, to_seconds(t.latest), wide);
      transitions += state.run.transitions.size();
    }
    if (gauge.drive)
      fmt::print("+- is expanded (k = 2): the tyre's roll, and the gauge's tolerance of {} rpm.\n",
                 gauge.tolerance.rpm);
    fmt::print("{} transitions\n", transitions);
    if (steps)
      fmt::print(
          "The generator plays this in {} steps, which follow the profile within {:.1f} ms and {:.2f} "
          "rpm.\nAt most {:.2f} rpm off on a ramp or wave, {:.2f} rpm where a threshold is crossed.\n",
          steps->changes, to_ms(steps->lag), steps->rpm, steps->worst_on_a_ramp, steps->worst_at_a_threshold);
  }

  std::string scenario_, gauge_, rig_, html_;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_expect_command() { return std::make_unique<ExpectCommand>(); }

}  // namespace tachproof
