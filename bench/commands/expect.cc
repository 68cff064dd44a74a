#include "core/expectation.h"

#include <fmt/format.h>

#include <cstdio>
#include <nlohmann/json.hpp>

#include "bench/commands/command.h"
#include "bench/commands/load.h"
#include "bench/files/files.h"

namespace tachproof {

namespace {

class ExpectCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "expect",
        "the transitions that a scenario demands, without a rig",
        "SCENARIO --gauge FILE [--json]",
        "Prints every transition that a unit with these settings must make in this scenario: its boundary, "
        "its direction, the threshold with the deadband applied, and the earliest, nominal and latest "
        "instant that the tolerance and the allowed response leave. It follows from the settings and the "
        "profile alone; the scenario's noise is left out.",
        "0  done\n2  bad usage or a bad file",
        {"tachproof expect scenarios/acceptance.yaml --gauge fixtures/gauges/drumlin.yaml"}};
  }

  void declare(Arguments& arguments) override {
    arguments.word(scenario_, "SCENARIO", "The scenario file.");
    arguments.required(gauge_, "--gauge", "FILE", "The gauge file: what the unit should do.");
    arguments.flag(json_, "--json", "Prints JSON.");
  }

  int run() override {
    Errors errors;
    const auto gauge = errors.collect([&] { return load_gauge(gauge_); });
    const auto scenario = errors.collect([&] { return load_scenario(scenario_); });
    errors.throw_if_any();
    const Profile profile = make_profile(*scenario, scenario_);
    const ExpectedRun expected = expect(*gauge, profile);
    json_ ? print_json(*gauge, expected) : print(*gauge, expected);
    return exit_pass;
  }

 private:
  static void print_json(const Gauge& gauge, const ExpectedRun& expected) {
    nlohmann::ordered_json out;
    out["transitions"] = nlohmann::ordered_json::array();
    for (const ExpectedTransition& t : expected.transitions)
      out["transitions"].push_back({{"boundary", gauge.windows[t.boundary].name},
                                    {"direction", word(t.direction)},
                                    {"nominal_rpm", t.nominal_rpm},
                                    {"earliest_s", to_seconds(t.earliest)},
                                    {"nominal_s", to_seconds(t.nominal)},
                                    {"latest_s", to_seconds(t.latest)}});
    std::puts(out.dump(2).c_str());
  }

  static void print(const Gauge& gauge, const ExpectedRun& expected) {
    std::size_t widest = std::string_view("boundary").size();
    for (const Window& window : gauge.windows) widest = std::max(widest, window.name.size());
    fmt::print("{:{}}  {:9}{:>10}{:>13}{:>13}{:>13}\n", "boundary", widest, "direction", "rpm", "earliest s",
               "nominal s", "latest s");
    for (const ExpectedTransition& t : expected.transitions)
      fmt::print("{:{}}  {:9}{:>10.1f}{:>13.4f}{:>13.4f}{:>13.4f}\n", gauge.windows[t.boundary].name, widest,
                 word(t.direction), t.nominal_rpm, to_seconds(t.earliest), to_seconds(t.nominal),
                 to_seconds(t.latest));
    fmt::print("{} transitions\n", expected.transitions.size());
  }

  std::string scenario_, gauge_;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_expect_command() { return std::make_unique<ExpectCommand>(); }

}  // namespace tachproof
