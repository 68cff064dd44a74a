#include "bench/commands/rig_finding.h"

#include <fmt/format.h>

#include <algorithm>

#include "bench/commands/terminal.h"
#include "bench/rigs/factory.h"
#include "core/plan/lamp_test.h"

namespace tachproof {
namespace {

using Json = nlohmann::ordered_json;

class WireFinding {
 public:
  WireFinding(const Gauge& gauge, const RigFile& rig, const std::vector<std::string>& inputs,
              RigReport& report)
      : gauge_(gauge), rig_(rig), inputs_(inputs), report_(report) {}

  std::optional<Wiring> run(const PlayLampTest& play) {
    RigFile every = rig_;
    every.watch.wiring.emplace();
    for (const std::string& input : inputs_) every.watch.wiring->wires.push_back({input, input, "lit"});
    const LampTest test = play(every, gauge_of_inputs(gauge_, inputs_));
    if (report_.undecided(test)) return std::nullopt;
    FoundWires found = find_wires(gauge_, test.shown, inputs_.size());
    say_found(found);
    if (!settle(found)) return std::nullopt;
    if (found.wires.empty()) {
      const std::string why = "no " + what() + " shows a lamp of this gauge";
      report_.json["troubles"].push_back(why);
      report_.say("N" + why.substr(1) + ": is the unit powered, and does it get the tach signal?");
      return std::nullopt;
    }
    std::sort(found.wires.begin(), found.wires.end(), [](auto& a, auto& b) { return a.channel < b.channel; });
    Wiring wiring;
    wiring.active_high = found.active_high;
    for (const FoundWires::Wire& wire : found.wires) {
      const auto [lamp, colour] = lamp_and_colour(wire.channel);
      wiring.wires.push_back({inputs_[wire.input], lamp, colour});
    }
    return wiring;
  }

 private:
  std::string what() const { return kind_of(rig_.watch).wired_to(); }
  std::string where() const { return kind_of(rig_.watch).place(rig_); }

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
  std::vector<std::string> input_names(const std::vector<std::size_t>& inputs) const {
    std::vector<std::string> names;
    for (const std::size_t i : inputs) names.push_back(inputs_[i]);
    return names;
  }

  void say_found(const FoundWires& found) {
    Json& out = report_.json["found"];
    out["active"] = found.active_high ? "high" : "low";
    out["wires"] = Json::array();
    for (const FoundWires::Wire& wire : found.wires)
      out["wires"].push_back({{"lamp", gauge_.channel_name(wire.channel)}, {"input", inputs_[wire.input]}});
    out["alike"] = Json::array();
    for (const FoundWires::Alike& group : found.alike)
      out["alike"].push_back(
          {{"lamps", channel_names(group.channels)}, {"inputs", input_names(group.inputs)}});
    out["not_shown"] = channel_names(found.missing);
    out["never_lit"] = channel_names(found.never);
    out["silent_inputs"] = input_names(found.silent);
    out["strange_inputs"] = input_names(found.strangers);
    constexpr std::size_t names = 20;  // columns of a lamp's name
    report_.say(fmt::format("\nFound on {}, lamps active {}:", where(), found.active_high ? "high" : "low"));
    for (const FoundWires::Wire& wire : found.wires)
      report_.row(gauge_.channel_name(wire.channel), names, inputs_[wire.input]);
    for (const std::size_t c : found.missing)
      report_.row(gauge_.channel_name(c), names, "no " + what() + " shows it: it will not be judged");
    for (const std::size_t c : found.never) report_.row(gauge_.channel_name(c), names, "no window lights it");
    for (const FoundWires::Alike& group : found.alike)
      report_.row("", 0,
                  fmt::format("{} are lit in the same windows, and so are {}",
                              listed(channel_names(group.channels)), listed(input_names(group.inputs))));
    if (!found.strangers.empty())
      report_.row(
          "", 0,
          listed(input_names(found.strangers)) +
              " changed, but like no lamp of this gauge: check the unit's settings, and for an open " +
              what());
  }

  // Asks which is which where only a person can know. False: nobody could say.
  bool settle(FoundWires& found) {
    for (FoundWires::Alike& group : found.alike) {
      for (const std::size_t channel : group.channels) {
        if (group.inputs.empty()) break;
        const std::optional<std::size_t> input = ask_input(channel, group.inputs);
        if (!input) {
          report_.could_not_tell("only a person can say which of " + listed(input_names(group.inputs)) +
                                 " is " + gauge_.channel_name(channel) +
                                 ": run this at a terminal, or write the wiring by hand");
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
    const std::string question = fmt::format("Which {} is {} wired to, {}? ", what(),
                                             gauge_.channel_name(channel), listed(input_names(inputs)));
    for (;;) {
      const std::optional<std::string> answer = ask_at_terminal(question);
      if (!answer) return std::nullopt;
      for (const std::size_t input : inputs)
        if (inputs_[input] == *answer) return input;
    }
  }

  const Gauge& gauge_;
  const RigFile& rig_;
  const std::vector<std::string>& inputs_;
  RigReport& report_;
};

}  // namespace

std::optional<Wiring> find_wiring(const Gauge& gauge, const RigFile& rig,
                                  const std::vector<std::string>& candidates, const PlayLampTest& play,
                                  RigReport& report) {
  return WireFinding(gauge, rig, candidates, report).run(play);
}

}  // namespace tachproof
