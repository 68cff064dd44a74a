#include <fmt/format.h>

#include <cstdio>
#include <nlohmann/json.hpp>

#include "bench/commands/command.h"
#include "bench/commands/inputs.h"
#include "bench/commands/load.h"
#include "bench/commands/output_file.h"
#include "bench/record/json_values.h"
#include "bench/record/text.h"
#include "bench/reports/settings_sheet.h"
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
    return {
        "settings",
        "what differs between two gauges; what a unit is set to",
        "diff A B [--json] | settings sheet GAUGE [--json] [--html FILE]",
        "diff reads two gauge files and says what changes from A to B: the drive, boundaries and the anchors "
        "they hang on, deadband, cues, blink, tolerance, lamps, pulses per revolution; and below or above "
        "which "
        "rpm nothing changes.\n\n"
        "sheet prints what a person types into a unit that shall follow the gauge file: pulses per "
        "revolution, "
        "anchors, offsets and widths of the windows, count-ins, deadband, blink. With a drive in the gauge "
        "file, "
        "each rpm has the speed that it means. --html writes it as a page for the wall of the bench, A4 when "
        "printed, with boxes to tick.",
        "0  done, whether they differ or not\n2  bad usage or a bad file",
        {"tachproof settings diff fixtures/gauges/drumlin.yaml fixtures/gauges/drumlin-raised.yaml",
         "tachproof settings sheet fixtures/gauges/tarn.yaml --html sheet.html"}};
  }

  void declare(Arguments& arguments) override {
    arguments.word(what_, "diff|sheet", "What to do.");
    arguments.words(files_, "GAUGE", "The gauge file; of diff, the one before and the one after.");
    arguments.flag(json_, "--json", "Prints JSON.");
    arguments.option(html_, "--html", "FILE", "Of sheet: writes the page as well.");
  }

  int run() override {
    if (what_ != "diff" && what_ != "sheet")
      throw UsageError("there is no '" + what_ + "'; there are diff and sheet");
    const std::size_t wanted = what_ == "diff" ? 2 : 1;
    if (files_.size() != wanted)
      throw UsageError(fmt::format("{} takes {} gauge file{}, and {} are given", what_, wanted,
                                   wanted == 1 ? "" : "s", files_.size()));
    if (!html_.empty() && what_ != "sheet") throw UsageError("--html goes with sheet");
    const std::string text = what_ == "diff" ? diff() : sheet();
    std::fwrite(text.data(), 1, text.size(), stdout);
    return exit_pass;
  }

 private:
  std::string diff() const {
    Errors errors;
    const auto before = errors.collect([&] { return load_gauge(files_[0]); });
    const auto after = errors.collect([&] { return load_gauge(files_[1]); });
    errors.throw_if_any();
    const SettingsChange change = settings_change(*before, *after);
    return json_ ? json(change) : in_words(change);
  }

  std::string sheet() const {
    const GaugeInput input = load_gauge_input(files_[0]);
    const SheetOf of{input.gauge, input.file, input.sha256};
    if (!html_.empty()) write_output(html_, settings_sheet_html(of));
    return json_ ? settings_sheet_json(of) : settings_sheet_text(of);
  }

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

  std::string what_, html_;
  std::vector<std::string> files_;
  bool json_ = false;
};

}  // namespace

std::unique_ptr<Command> make_settings_command() { return std::make_unique<SettingsCommand>(); }

}  // namespace tachproof
