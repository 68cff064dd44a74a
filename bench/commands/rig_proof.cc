#include "bench/commands/rig_proof.h"

#include <fmt/format.h>

#include <optional>

#include "core/plan/lamp_test.h"

namespace tachproof {
namespace {

class Proof {
 public:
  Proof(const Gauge& gauge, Channels wired, RigReport& report)
      : gauge_(gauge), wired_(wired), report_(report) {}

  Verdict run(const LampTest& test, const std::string& name) {
    if (report_.undecided(test)) return Verdict::undecided;
    Verdict verdict = Verdict::pass;
    report_.say("\nLamp test, " + name + ":");
    report_.json["windows"] = nlohmann::ordered_json::array();
    for (std::size_t w = 0; w < gauge_.windows.size(); ++w)
      verdict = worst(verdict, say_window(w, w < test.shown.size() ? test.shown[w] : std::nullopt));
    say_swapped(test);
    say_verdict(verdict);
    return verdict;
  }

 private:
  Verdict say_window(std::size_t w, const std::optional<Cue>& shown) {
    const Window& window = gauge_.windows[w];
    const Cue wanted{window.cue.steady & wired_, window.cue.blinking & wired_};
    const Verdict verdict = !shown ? Verdict::undecided
                            : Cue{shown->steady & wired_, shown->blinking & wired_} == wanted ? Verdict::pass
                                                                                              : Verdict::fail;
    const std::string seen = shown ? gauge_.describe(*shown) : "not seen long enough";
    report_.json["windows"].push_back({{"window", window.name},
                                       {"should_show", gauge_.describe(wanted)},
                                       {"shown", seen},
                                       {"verdict", word(verdict)}});
    report_.row(window.name, names_, gauge_.describe(wanted));
    if (verdict != Verdict::pass) report_.row("", names_, "BUT SHOWN: " + seen);
    return verdict;
  }

  // A wire that behaves as another lamp should.
  void say_swapped(const LampTest& test) {
    const FoundWires found = find_wires(gauge_, test.shown, gauge_.channels());
    report_.json["swapped"] = nlohmann::ordered_json::array();
    for (const FoundWires::Wire& wire : found.wires) {
      if (wire.input == wire.channel) continue;
      const std::string what =
          fmt::format("the wire of {} shows what {} should: are they swapped?",
                      gauge_.channel_name(wire.input), gauge_.channel_name(wire.channel));
      report_.json["swapped"].push_back(what);
      report_.row("", 0, what);
    }
    report_.json["inverted"] = !found.active_high;
    if (!found.active_high)
      report_.row("", 0, "every lamp is the other way round: change `active:` in the rig file");
  }

  void say_verdict(Verdict verdict) const {
    if (verdict == Verdict::pass)
      report_.say(wired_ == gauge_.all_channels()
                      ? "Every lamp shows what the settings say, in every window."
                      : "Every wired lamp shows what the settings say, in every window. Not every lamp is "
                        "wired.");
    else if (verdict == Verdict::fail)
      report_.say(
          "A lamp does not show what the settings say: check the wiring, the gauge file and the unit.");
    else
      report_.say(
          "A window was not seen long enough, so the bench cannot decide: check the unit and run this "
          "again.");
  }

  static constexpr std::size_t names_ = 12;  // columns of a window's name
  const Gauge& gauge_;
  const Channels wired_;
  RigReport& report_;
};

}  // namespace

Verdict say_proof(const LampTest& test, const std::string& rig_name, const Gauge& gauge, Channels wired,
                  RigReport& report) {
  return Proof(gauge, wired, report).run(test, rig_name);
}

}  // namespace tachproof
