#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <nlohmann/json.hpp>

#include <fmt/format.h>

#include "bench/commands/command.h"
#include "bench/commands/load.h"
#include "bench/commands/terminal.h"
#include "bench/files/rig_edit.h"
#include "bench/reports/text.h"
#include "bench/rigs/factory.h"
#include "bench/rigs/ports.h"
#include "bench/run/disk.h"
#include "bench/run/lamp_test_run.h"
#include "bench/run/stop_request.h"
#include "core/lamp_test.h"

namespace tachproof {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::size_t columns = 80;
const std::vector<std::string> board_inputs{"in0", "in1", "in2", "in3", "in4", "in5", "in6", "in7"};

constexpr const char* cautions =
    "The lamp test plays every window of the gauge, and lamps may flash. Light that "
    "flashes at 3 to 30 Hz can provoke seizures. Feed the unit from a fused supply, "
    "and its tach input from the board alone: no ignition circuit connected.";

void print_wrapped(const std::string& text) {
  for (const std::string& line : wrapped(text, columns)) fmt::print("{}\n", line);
}

std::string listed(const std::vector<std::string>& names) {
  std::string text;
  for (const std::string& name : names) text += (text.empty() ? "" : ", ") + name;
  return text;
}

class RigCommand : public Command {
 public:
  CommandHelp help() const override {
    return {
        "rig",
        "makes a rig file, or proves one by a lamp test",
        "[RIG] --gauge GAUGE [--port PORT] [--out FILE] [--json]",
        "With RIG, plays every window of the gauge in turn and says, window by window, whether each wired "
        "lamp shows what the settings say. Swapped wires are named.\n\n"
        "Without, makes a rig file for the board: it watches all eight inputs while it plays the windows, "
        "finds which input shows which lamp colour and whether lamps pull their inputs high or low, writes "
        "the file, and proves it by a second lamp test. Lamps that are always lit together it asks for, at "
        "a terminal.\n\n"
        "The unit must be sound enough to show its windows; a boundary that is a little off does not matter.",
        "0  every lamp of every window is as it should be\n"
        "1  a lamp shows something else\n"
        "2  bad usage or a bad file; nothing was started\n"
        "3  the bench could not tell: a device is missing, or lamps cannot be told apart",
        {"tachproof rig fixtures/rigs/simulated.yaml --gauge fixtures/gauges/drumlin.yaml",
         "tachproof rig --gauge fixtures/gauges/drumlin.yaml --port "
         "/dev/serial/by-id/usb-tachproof_board-if00 --out bench.yaml"}};
  }

  void declare(Arguments& arguments) override {
    arguments.optional_words(rig_, "RIG", "The rig file to prove.");
    arguments.required(gauge_file_, "--gauge", "FILE", "The gauge file: what the unit should do.");
    arguments.option(port_, "--port", "PORT",
                     "The board's port; see `tachproof ports`. Default: the only one.");
    arguments.option(out_, "--out", "FILE", "The rig file to write.");
    arguments.flag(json_, "--json", "Prints JSON.");
  }

  int run() override {
    const bool make = rig_.empty();
    if (rig_.size() > 1) throw UsageError("one rig file, please");
    if (make == out_.empty()) throw UsageError("give either a rig file to prove or --out for one to make");
    if (!make && !port_.empty()) throw UsageError("--port goes with --out; a rig file has its own");
    if (make && std::filesystem::exists(out_)) throw UsageError(out_ + " is there already");
    gauge_ = load_gauge(gauge_file_);
    catch_stop_signals();
    if (!json_) print_wrapped(cautions);
    if (make) {
      const std::optional<Wiring> wiring = find_wiring();
      if (!wiring) return finish(Verdict::undecided);
      Replacement(out_, board_rig_yaml(port_, gauge_.name, *wiring)).move_into_place();
      report_["written"] = out_;
      if (!json_) fmt::print("\nWritten: {}\n", out_);
    }
    return finish(prove(make ? out_ : rig_.front()));
  }

 private:
  int finish(Verdict verdict) {
    report_["verdict"] = word(verdict);
    if (json_) std::puts(report_.dump(2).c_str());
    return exit_status(verdict);
  }

  LampTest play(const RigFile& file, const std::string& name, const Gauge& gauge) const {
    Rig rig = make_rig(file, name, gauge, 1);
    RunHooks hooks;
    hooks.stop = stop_requested;
    return play_lamp_test(gauge, rig, hooks);
  }

  bool undecided(const LampTest& test) {
    for (const std::string& trouble : test.troubles) could_not_tell(trouble);
    return !test.troubles.empty();
  }

  void could_not_tell(const std::string& trouble) {
    report_["troubles"].push_back(trouble);
    if (!json_) print_wrapped("The bench could not tell: " + trouble + ".");
  }

  // Finding.

  std::optional<Wiring> find_wiring() {
    if (port_.empty()) port_ = only_port_present();
    RigFile file;
    file.source.kind = file.watch.kind = "board";
    file.source.port = port_;
    file.watch.wiring.emplace();
    for (const std::string& input : board_inputs) file.watch.wiring->wires.push_back({input, input, "lit"});
    const LampTest test = play(file, "the lamp test", gauge_of_inputs(gauge_, board_inputs));
    if (undecided(test)) return std::nullopt;
    FoundWires found = find_wires(gauge_, test.shown, board_inputs.size());
    say_found(found);
    if (!settle(found)) return std::nullopt;
    if (found.wires.empty()) {
      report_["troubles"].push_back("no input shows a lamp of this gauge");
      if (!json_)
        print_wrapped(
            "No input shows a lamp of this gauge: is the unit powered, and does it get the tach "
            "signal?");
      return std::nullopt;
    }
    std::sort(found.wires.begin(), found.wires.end(), [](auto& a, auto& b) { return a.channel < b.channel; });
    Wiring wiring;
    wiring.active_high = found.active_high;
    for (const FoundWires::Wire& wire : found.wires) {
      const auto [lamp, colour] = lamp_and_colour(wire.channel);
      wiring.wires.push_back({board_inputs[wire.input], lamp, colour});
    }
    return wiring;
  }

  std::pair<std::string, std::string> lamp_and_colour(std::size_t channel) const {
    for (const Lamp& lamp : gauge_.lamps)
      for (const std::string& colour : lamp.colours)
        if (gauge_.channel(lamp.id, colour) == Channels{1} << channel) return {lamp.id, colour};
    return {};
  }

  std::vector<std::string> channel_names(const std::vector<std::size_t>& channels) const {
    std::vector<std::string> names;
    for (const std::size_t c : channels) names.push_back(gauge_.channel_name(c));
    return names;
  }
  static std::vector<std::string> input_names(const std::vector<std::size_t>& inputs) {
    std::vector<std::string> names;
    for (const std::size_t i : inputs) names.push_back(board_inputs[i]);
    return names;
  }

  void say_found(const FoundWires& found) {
    Json& out = report_["found"];
    out["active"] = found.active_high ? "high" : "low";
    out["wires"] = Json::array();
    for (const FoundWires::Wire& wire : found.wires)
      out["wires"].push_back(
          {{"lamp", gauge_.channel_name(wire.channel)}, {"input", board_inputs[wire.input]}});
    out["alike"] = Json::array();
    for (const FoundWires::Alike& group : found.alike)
      out["alike"].push_back(
          {{"lamps", channel_names(group.channels)}, {"inputs", input_names(group.inputs)}});
    out["not_shown"] = channel_names(found.missing);
    out["never_lit"] = channel_names(found.never);
    out["silent_inputs"] = input_names(found.silent);
    out["strange_inputs"] = input_names(found.strangers);
    if (json_) return;
    fmt::print("\nFound on the board on {}, lamps active {}:\n", port_, found.active_high ? "high" : "low");
    for (const FoundWires::Wire& wire : found.wires)
      fmt::print("  {:20} {}\n", gauge_.channel_name(wire.channel), board_inputs[wire.input]);
    for (const std::size_t c : found.missing)
      fmt::print("  {:20} no input shows it: it will not be judged\n", gauge_.channel_name(c));
    for (const std::size_t c : found.never)
      fmt::print("  {:20} no window lights it\n", gauge_.channel_name(c));
    for (const FoundWires::Alike& group : found.alike)
      print_wrapped(fmt::format("  {} are lit in the same windows, and so are {}",
                                listed(channel_names(group.channels)), listed(input_names(group.inputs))));
    if (!found.strangers.empty())
      print_wrapped("  " + listed(input_names(found.strangers)) +
                    " changed as no lamp of this gauge does: another unit's settings, or an open input");
  }

  // Asks which is which where only a person can know. False: nobody could say.
  bool settle(FoundWires& found) {
    for (FoundWires::Alike& group : found.alike) {
      for (const std::size_t channel : group.channels) {
        if (group.inputs.empty()) break;
        const std::optional<std::size_t> input = ask_input(channel, group.inputs);
        if (!input) {
          could_not_tell("only a person can say which of " + listed(input_names(group.inputs)) + " is " +
                         gauge_.channel_name(channel) +
                         "; run it at a terminal, or write the wiring by hand");
          return false;
        }
        found.wires.push_back({*input, channel});
        std::erase(group.inputs, *input);
      }
    }
    return true;
  }

  std::optional<std::size_t> ask_input(std::size_t channel, const std::vector<std::size_t>& inputs) const {
    if (inputs.size() == 1) return inputs.front();
    const std::string question = fmt::format("Which input is {} wired to, {}? ", gauge_.channel_name(channel),
                                             listed(input_names(inputs)));
    for (;;) {
      const std::optional<std::string> answer = ask_at_terminal(question);
      if (!answer) return std::nullopt;
      for (const std::size_t input : inputs)
        if (board_inputs[input] == *answer) return input;
    }
  }

  // Proving.

  Verdict prove(const std::string& name) {
    const RigFile file = load_rig(name);
    const Channels wired = watched_by(file, name, gauge_) & gauge_.all_channels();
    const LampTest test = play(file, name, gauge_);
    if (undecided(test)) return Verdict::undecided;
    Verdict verdict = Verdict::pass;
    if (!json_) fmt::print("\nLamp test, {}:\n", name);
    report_["windows"] = Json::array();
    for (std::size_t w = 0; w < gauge_.windows.size(); ++w)
      verdict = worst(verdict, say_window(w, w < test.shown.size() ? test.shown[w] : std::nullopt, wired));
    say_swapped(test);
    if (!json_) say_verdict(verdict, wired);
    return verdict;
  }

  Verdict say_window(std::size_t w, const std::optional<Cue>& shown, Channels wired) {
    const Window& window = gauge_.windows[w];
    const Cue wanted{window.cue.steady & wired, window.cue.blinking & wired};
    const Verdict verdict = !shown ? Verdict::undecided
                            : Cue{shown->steady & wired, shown->blinking & wired} == wanted ? Verdict::pass
                                                                                            : Verdict::fail;
    const std::string seen = shown ? gauge_.describe(*shown) : "not seen long enough";
    report_["windows"].push_back({{"window", window.name},
                                  {"should_show", gauge_.describe(wanted)},
                                  {"shown", seen},
                                  {"verdict", word(verdict)}});
    if (json_) return verdict;
    if (verdict == Verdict::pass)
      fmt::print("  {:12} {}\n", window.name, gauge_.describe(wanted));
    else
      fmt::print("  {:12} {}\n  {:12} BUT SHOWN: {}\n", window.name, gauge_.describe(wanted), "", seen);
    return verdict;
  }

  // A wire that behaves as another lamp should.
  void say_swapped(const LampTest& test) {
    const FoundWires found = find_wires(gauge_, test.shown, gauge_.channels());
    report_["swapped"] = Json::array();
    for (const FoundWires::Wire& wire : found.wires) {
      if (wire.input == wire.channel) continue;
      const std::string what =
          fmt::format("the wire of {} shows what {} should: are they swapped?",
                      gauge_.channel_name(wire.input), gauge_.channel_name(wire.channel));
      report_["swapped"].push_back(what);
      if (!json_) print_wrapped("  " + what);
    }
    report_["inverted"] = !found.active_high;
    if (!found.active_high && !json_) fmt::print("  every lamp is the other way round: `active:` is wrong\n");
  }

  void say_verdict(Verdict verdict, Channels wired) const {
    if (verdict == Verdict::pass)
      print_wrapped(wired == gauge_.all_channels()
                        ? "Every lamp shows what the settings say, in every window."
                        : "Every wired lamp shows what the settings say, in every window. Not every lamp is "
                          "wired.");
    else if (verdict == Verdict::fail)
      print_wrapped(
          "A lamp shows something else than the settings say: the wiring, the gauge file, or the unit "
          "is wrong.");
    else
      print_wrapped("A window was not seen: the bench cannot tell.");
  }

  std::vector<std::string> rig_;
  std::string gauge_file_, port_, out_;
  bool json_ = false;
  Gauge gauge_;
  Json report_;
};

}  // namespace

std::unique_ptr<Command> make_rig_command() { return std::make_unique<RigCommand>(); }

}  // namespace tachproof
