#include <cstdio>
#include <nlohmann/json.hpp>

#include "bench/commands/command.h"
#include "bench/commands/load.h"
#include "bench/record/json_values.h"
#include "bench/record/text.h"
#include "core/gauge/settings_change.h"

namespace tachproof {

namespace {

Json named_to_json(const NamedChange& n) {
  return {{"name", text_to_json(n.name)},
          {"unit", text_to_json(n.unit)},
          {"before", number_to_json(n.value.before)},
          {"after", number_to_json(n.value.after)}};
}

Json list_to_json(const std::vector<NamedChange>& changes) {
  Json list = Json::array();
  for (const NamedChange& n : changes) list.push_back(named_to_json(n));
  return list;
}

// Only the windows that change; thresholds with the deadband applied.
Json windows_to_json(const SettingsChange& change) {
  const auto pair = [](const NumberChange& n) {
    return Json{{"before", number_to_json(n.before)}, {"after", number_to_json(n.after)}};
  };
  const auto text_or_null = [](const std::string& text) {
    return text.empty() ? Json(nullptr) : text_to_json(text);
  };
  Json list = Json::array();
  for (const WindowChange& w : change.windows) {
    if (w.before && w.after && w.was_called.empty() && !w.cue_changed() && !w.from_rpm.changed() &&
        !w.rising_rpm.changed() && !w.falling_rpm.changed())
      continue;
    list.push_back({{"window", text_to_json(w.name)},
                    {"was_called", text_or_null(w.was_called)},
                    {"from_rpm", pair(w.from_rpm)},
                    {"rising_rpm", pair(w.rising_rpm)},
                    {"falling_rpm", pair(w.falling_rpm)},
                    {"cue", {{"before", text_or_null(w.cue_before)}, {"after", text_or_null(w.cue_after)}}}});
  }
  return list;
}

class SettingsCommand : public Command {
 public:
  CommandHelp help() const override {
    return {"settings",
            "says what differs between two gauge files",
            "diff A B [--json]",
            "Reads two gauge files and says what changes from A to B: boundaries and the anchors they hang "
            "on, deadband, cues, blink, tolerance, lamps, pulses per revolution; and below or above which "
            "rpm nothing changes.",
            "0  done, whether they differ or not\n2  bad usage or a bad file",
            {"tachproof settings diff fixtures/gauges/drumlin.yaml fixtures/gauges/drumlin-raised.yaml"}};
  }

  void declare(Arguments& arguments) override {
    arguments.word(what_, "diff", "What to do: diff.");
    arguments.word(before_, "A", "The gauge file before.");
    arguments.word(after_, "B", "The gauge file after.");
    arguments.flag(json_, "--json", "Prints JSON.");
  }

  int run() override {
    if (what_ != "diff") throw UsageError("there is no '" + what_ + "'; there is diff");
    Errors errors;
    const auto before = errors.collect([&] { return load_gauge(before_); });
    const auto after = errors.collect([&] { return load_gauge(after_); });
    errors.throw_if_any();
    const SettingsChange change = settings_change(*before, *after);
    const std::string text = json_ ? json(change) : in_words(change);
    std::fwrite(text.data(), 1, text.size(), stdout);
    return exit_pass;
  }

 private:
  static std::string in_words(const SettingsChange& change) {
    std::string text;
    for (const std::string& sentence : sentences(change)) text += printable(sentence) + "\n";
    return text.empty() ? "nothing differs\n" : text;
  }

  static std::string json(const SettingsChange& change) {
    Json said = Json::array();
    for (const std::string& sentence : sentences(change)) said.push_back(text_to_json(sentence));
    const Json out = {{"same", said.empty()},
                      {"sentences", said},
                      {"drive", list_of(change.drive, text_to_json)},
                      {"anchors", list_to_json(change.anchors)},
                      {"windows", windows_to_json(change)},
                      {"numbers", list_to_json(change.numbers)}};
    return json_text(out, 2) + "\n";
  }

  std::string what_, before_, after_;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_settings_command() { return std::make_unique<SettingsCommand>(); }

}  // namespace tachproof
