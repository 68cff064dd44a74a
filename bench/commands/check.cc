#include <fmt/format.h>

#include <cstdio>
#include <nlohmann/json.hpp>
#include <optional>

#include "bench/commands/command.h"
#include "bench/commands/input_words.h"
#include "bench/commands/load.h"
#include "bench/files/files.h"
#include "bench/record/json_values.h"
#include "bench/record/text.h"
#include "core/plan/foresight.h"

namespace tachproof {

namespace {

class CheckCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "check",
        "validates files of every kind",
        "FILE... [--gauge FILE] [--json]",
        "Reads each file as strictly as a run would and lists every error with its line and column.\n\n"
        "With --gauge it also warns of what a scenario cannot decide about a unit with these settings: "
        "boundaries that it does not cross, or crosses too fast or by steps only, and rests that are too "
        "short for a blink. Each warning says what to change. A warning does not change the exit status.\n\n"
        "Of a gauge with a drive it says what speed each anchor means, and of a scenario what was read from "
        "the logs that it replays.",
        "0  every file is sound\n2  one is not, or bad usage",
        {"tachproof check scenarios/acceptance.yaml fixtures/gauges/drumlin.yaml",
         "tachproof check scenarios/survey.yaml --gauge fixtures/gauges/drumlin.yaml"}};
  }

  void declare(Arguments& arguments) override {
    arguments.words(files_, "FILE", "The files to check.");
    arguments.option(gauge_, "--gauge", "FILE", "The gauge file that the scenarios are meant for.");
    arguments.flag(json_, "--json", "Prints JSON.");
  }

  int run() override {
    bool sound = true;
    std::optional<Gauge> gauge;
    if (!gauge_.empty()) gauge = load_gauge(gauge_);
    nlohmann::ordered_json out;
    out["files"] = nlohmann::ordered_json::array();
    for (const std::string& file : files_) {
      const CheckedFile checked = check_file(file);
      sound = sound && checked.errors.empty();
      const std::vector<std::string> warned =
          gauge ? warnings_of(checked, *gauge) : std::vector<std::string>();
      if (json_) {
        out["files"].push_back(as_json(checked, warned));
      } else {
        print(checked, warned);
        for (const std::string& line : meanings_of(checked)) fmt::print("  {}\n", printable(line));
      }
    }
    if (json_) std::puts(json_text(out, 2).c_str());
    return sound ? exit_pass : exit_usage;
  }

 private:
  static std::vector<std::string> warnings_of(const CheckedFile& checked, const Gauge& gauge) {
    if (!checked.errors.empty() || checked.kind != "scenario") return {};
    const ScenarioFile scenario = load_scenario(checked.file);
    if (scenario.dwell) return {};  // it finds its way by itself
    const Profile profile = make_profile(scenario, checked.file);
    return warnings(gauge, foresee(gauge, profile, {scenario.noise, scenario.judge.within_rpm, {}}),
                    scenario.judge);
  }

  // Of a gauge with a drive: what each anchor means; of a scenario: what was taken from its logs.
  static std::vector<std::string> meanings_of(const CheckedFile& checked) {
    if (!checked.errors.empty()) return {};
    if (checked.kind == "gauge") return anchors_in_speed(load_gauge(checked.file));
    if (checked.kind == "scenario") return logs_in_words(load_scenario(checked.file));
    return {};
  }

  static nlohmann::ordered_json as_json(const CheckedFile& checked, const std::vector<std::string>& warned) {
    nlohmann::ordered_json errors = nlohmann::ordered_json::array();
    for (const FileError& e : checked.errors)
      errors.push_back({{"line", e.line}, {"column", e.column}, {"message", e.message}});
    nlohmann::ordered_json all = nlohmann::ordered_json::array();
    for (const std::string& message : warned) all.push_back({{"message", message}});
    return {{"file", checked.file},
            {"kind", checked.kind},
            {"errors", std::move(errors)},
            {"warnings", std::move(all)}};
  }

  static void print(const CheckedFile& checked, const std::vector<std::string>& warned) {
    if (checked.errors.empty())
      std::printf("%s: a sound %s file\n", printable(checked.file).c_str(), checked.kind.c_str());
    for (const FileError& e : checked.errors) std::fprintf(stderr, "%s\n", printable(to_line(e)).c_str());
    for (const std::string& message : warned)
      std::printf("%s: warning: %s\n", printable(checked.file).c_str(), printable(message).c_str());
  }

  std::vector<std::string> files_;
  std::string gauge_;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_check_command() { return std::make_unique<CheckCommand>(); }

}  // namespace tachproof
