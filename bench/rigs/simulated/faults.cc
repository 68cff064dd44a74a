#include "bench/rigs/simulated/faults.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>
#include <stdexcept>

#include "bench/rigs/simulated/fault_entry.h"

namespace tachproof {
namespace {

// ---- thresholds -----------------------------------------------------------------

void move_boundary(const FaultWords& words, UnitSettings& s) {
  s.gauge.windows[words.boundary()].from_rpm += words.number("by_rpm");
}

void make_count_in_uneven(const FaultWords& words, UnitSettings& s) {
  if (!words.text("boundary").starts_with("count-in-"))
    words.refuse_because(fmt::format("needs a count-in boundary, not '{}'", words.text("boundary")));
  move_boundary(words, s);
}

void drop_deadband(const FaultWords&, UnitSettings& s) { s.gauge.deadband.rpm = 0; }
void set_deadband_width(const FaultWords& words, UnitSettings& s) {
  s.gauge.deadband.rpm = words.number("rpm");
}

void set_deadband_side(const FaultWords& words, UnitSettings& s) {
  const std::string& sits = words.text("sits");
  if (sits == "below") {
    s.gauge.deadband.sits = Sits::below;
  } else if (sits == "centred") {
    s.gauge.deadband.sits = Sits::centred;
  } else if (sits == "above") {
    s.gauge.deadband.sits = Sits::above;
  } else {
    words.refuse_because(fmt::format("has sits '{}'; it must be below, centred or above", sits));
  }
}

void drop_over_rev(const FaultWords& words, UnitSettings& s) {
  if (s.gauge.boundaries() == 0) words.refuse_because("needs a gauge with more than one window");
  s.gauge.windows.back().from_rpm = std::numeric_limits<double>::infinity();
}

// ---- cues ------------------------------------------------------------------------

// A lamp's wires are the same when the unit greets.
Cue* greeting_of(UnitSettings& s) {
  return s.gauge.power_up && s.gauge.power_up->greets ? &s.gauge.power_up->greets->cue : nullptr;
}

void show_wrong_colour(const FaultWords& words, UnitSettings& s) {
  const Channels instead = words.channel("to");
  const Channels replaced = words.has("colour") ? words.channel("colour") : words.lamp_channels();
  const auto recolour = [&](Channels& lit) {
    if (lit & replaced) lit = (lit & ~words.lamp_channels()) | instead;
  };
  const std::size_t first = words.has("window") ? words.window("window") : 0;
  const std::size_t end = words.has("window") ? first + 1 : s.gauge.windows.size();
  const auto recolour_cue = [&](Cue& cue) {
    recolour(cue.steady);
    recolour(cue.blinking);
  };
  for (std::size_t i = first; i < end; ++i) recolour_cue(s.gauge.windows[i].cue);
  if (Cue* greeting = greeting_of(s); greeting != nullptr && !words.has("window")) recolour_cue(*greeting);
}

// The plugs of two lamps are swapped: first colour for first colour and so on,
// whatever the colours are. One without a counterpart stays dark.
void swap_lamps(const FaultWords& words, UnitSettings& s) {
  const Channels a = s.gauge.lamp_channels(words.lamp("lamp"));
  const Channels b = s.gauge.lamp_channels(words.lamp("with"));
  const int shift_a = std::countr_zero(a), shift_b = std::countr_zero(b);
  const auto swap = [&](Channels& lit) {
    const Channels to_b = (((lit & a) >> shift_a) << shift_b) & b;
    const Channels to_a = (((lit & b) >> shift_b) << shift_a) & a;
    lit = (lit & ~(a | b)) | to_a | to_b;
  };
  const auto swap_cue = [&](Cue& cue) {
    swap(cue.steady);
    swap(cue.blinking);
  };
  for (Window& window : s.gauge.windows) swap_cue(window.cue);
  if (Cue* greeting = greeting_of(s)) swap_cue(*greeting);
}

void drop_blink(const FaultWords& words, UnitSettings& s) {
  for (std::size_t i = 0; i < s.gauge.windows.size(); ++i) {
    if (words.has("window") && i != words.window("window")) continue;
    Cue& cue = s.gauge.windows[i].cue;
    cue.steady |= cue.blinking;
    cue.blinking = 0;
  }
}

Blink& blink_of(const FaultWords& words, UnitSettings& s) {
  if (!s.gauge.blink) words.refuse_because("needs a gauge that blinks");
  return *s.gauge.blink;
}
void set_blink_rate(const FaultWords& words, UnitSettings& s) { blink_of(words, s).hz = words.number("hz"); }
void set_blink_duty(const FaultWords& words, UnitSettings& s) {
  blink_of(words, s).duty = words.number("duty");
}

// ---- lamps, wires and supply -------------------------------------------------------

void stick_on(const FaultWords& words, UnitSettings& s) { s.stuck_on |= words.channel("colour"); }
void stick_off(const FaultWords& words, UnitSettings& s) {
  s.stuck_off |= words.has("colour") ? words.channel("colour") : words.lamp_channels();
}

void loosen_lamp(const FaultWords& words, UnitSettings& s) {
  s.intermittent.push_back(
      {words.lamp_channels(), words.number("per_min"), words.ms_or("for_ms", 100 * ns_per_ms)});
}

void freeze(const FaultWords& words, UnitSettings& s) {
  const Nanos from = words.seconds("at_s");
  s.frozen.push_back({from, words.has_number("for_s") ? from + words.seconds("for_s") : never});
}

void dip_supply(const FaultWords& words, UnitSettings& s) {
  Reset reset{words.seconds("at_s")};
  const bool untold = s.boot_to == 0 && !s.gauge.power_up;
  if (words.has_number("boot_ms"))
    reset.boot = words.ms("boot_ms");
  else if (untold)
    reset.boot = 500 * ns_per_ms;
  s.resets.push_back(reset);
}

// ---- the reading ---------------------------------------------------------------------

void set_pulses_per_rev(const FaultWords& words, UnitSettings& s) {
  s.gauge.pulses_per_rev = words.number("pulses_per_rev");
}
void slow_filter(const FaultWords& words, UnitSettings& s) { s.filter = words.ms("ms"); }
void slow_response(const FaultWords& words, UnitSettings& s) { s.response = words.ms("ms"); }
void drop_updates(const FaultWords& words, UnitSettings& s) { s.dropped_share = words.number("share"); }
void add_noise(const FaultWords& words, UnitSettings& s) { s.noise_rpm = words.number("rpm"); }

// ---- the catalogue ---------------------------------------------------------------------

std::vector<FaultEntry> with_those_of_events(std::vector<FaultEntry> all) {
  for (const FaultEntry& entry : button_faults()) all.push_back(entry);
  for (const FaultEntry& entry : supply_faults()) all.push_back(entry);
  return all;
}

const std::vector<FaultEntry>& entries() {
  static const std::vector<FaultEntry> all = with_those_of_events({
      {fault_kind("boundary-moved", "One boundary is off by this much.", {"boundary"}, {"by_rpm"}),
       move_boundary},
      {fault_kind("count-in-uneven", "One boundary of a count-in is off by this much.", {"boundary"},
                  {"by_rpm"}),
       make_count_in_uneven},
      {fault_kind("deadband-missing", "There is no deadband."), drop_deadband},
      {fault_kind("deadband-width", "The deadband has this width.", {}, {"rpm"}), set_deadband_width},
      {fault_kind("deadband-side", "The deadband sits below, centred on or above the boundaries.", {"sits"}),
       set_deadband_side},
      {fault_kind("over-rev-missing", "The highest window never shows; the unit stays in the one below."),
       drop_over_rev},
      {fault_kind("wrong-colour", "A lamp that should be lit shows this colour instead.", {"lamp", "to"}, {},
                  {}, {"window", "colour"}),
       show_wrong_colour},
      {fault_kind("swapped-lamps", "The plugs of two lamps are swapped.", {"lamp", "with"}), swap_lamps},
      {fault_kind("stuck-on", "One colour of a lamp is always lit, even without supply.", {"lamp", "colour"}),
       stick_on},
      {fault_kind("stuck-off", "A lamp, or one colour of it, is never lit.", {"lamp"}, {}, {}, {"colour"}),
       stick_off},
      {fault_kind("blink-absent", "What should blink is lit steadily.", {}, {}, {}, {"window"}), drop_blink},
      {fault_kind("blink-rate", "It blinks at this rate.", {}, {"hz"}), set_blink_rate},
      {fault_kind("blink-duty", "It blinks with this lit share.", {}, {"duty"}), set_blink_duty},
      {fault_kind("wrong-pulses-per-rev", "The unit counts this many pulses per revolution.", {},
                  {"pulses_per_rev"}),
       set_pulses_per_rev},
      {fault_kind("slow-filter", "A low-pass with this time constant smooths the reading.", {}, {"ms"}),
       slow_filter},
      {fault_kind("slow-response", "The unit's response is this long.", {}, {"ms"}), slow_response},
      {fault_kind("dropped-updates", "This share of the updates is skipped.", {}, {"share"}), drop_updates},
      {fault_kind("noisy-reading", "Normal noise of this standard deviation is added to the reading.", {},
                  {"rpm"}),
       add_noise},
      {fault_kind("intermittent-lamp",
                  "A lamp goes dark at random, this often a minute, for 100 ms unless given.", {"lamp"},
                  {"per_min"}, {"for_ms"}),
       loosen_lamp},
      {fault_kind("freeze", "The lamps freeze at this instant, for good unless for_s is given.", {}, {"at_s"},
                  {"for_s"}),
       freeze},
      {fault_kind("reset", "The supply dips: dark for the boot time, peak and state lost.", {}, {"at_s"},
                  {"boot_ms"}),
       dip_supply},
  });
  return all;
}

// What a number may be follows from its name.
struct NumberRule {
  const char* name;
  double lowest, highest;
};
constexpr NumberRule number_rules[] = {
    {"by_rpm", -20'000, 20'000},
    {"rpm", 0, 20'000},
    {"hz", 0.01, 1'000},
    {"duty", 0, 1},
    {"share", 0, 1},
    {"pulses_per_rev", 0.01, 60},
    {"ms", 0, 60'000},
    {"per_min", 0.01, 6'000},
    {"for_ms", 0.001, 3'600'000},
    {"at_s", 0, 1e9},
    {"for_s", 0.001, 1e9},
    {"boot_ms", 0, 3'600'000},
    {"by_ms", 0, 60'000},
    {"level", 0, 100},
    {"rpm_per_v", -2'000, 2'000},
    {"at_v", 0, 60},
};

bool contains(const std::vector<std::string>& names, const std::string& name) {
  return std::find(names.begin(), names.end(), name) != names.end();
}

void check_takes(const FaultSetting& fault, const FaultKind& kind) {
  for (const std::string& name : kind.words)
    if (!fault.words.count(name)) refuse(fault, fmt::format("needs the word '{}'", name));
  for (const std::string& name : kind.numbers)
    if (!fault.numbers.count(name)) refuse(fault, fmt::format("needs the number '{}'", name));
  for (const auto& [name, text] : fault.words)
    if (!contains(kind.words, name) && !contains(kind.optional_words, name))
      refuse(fault, fmt::format("does not take the word '{}'", name));
  for (const auto& [name, value] : fault.numbers) {
    if (!contains(kind.numbers, name) && !contains(kind.optional_numbers, name))
      refuse(fault, fmt::format("does not take the number '{}'", name));
    for (const NumberRule& rule : number_rules)
      if (name == rule.name && !(value >= rule.lowest && value <= rule.highest))
        refuse(fault, fmt::format("has {} {}; it must be {} to {}", name, value, rule.lowest, rule.highest));
  }
}

}  // namespace

const std::vector<FaultKind>& fault_catalogue() {
  static const std::vector<FaultKind> kinds = [] {
    std::vector<FaultKind> all;
    for (const FaultEntry& entry : entries()) all.push_back(entry.kind);
    return all;
  }();
  return kinds;
}

void apply_fault(const FaultSetting& fault, UnitSettings& settings) {
  std::vector<std::string> known;
  for (const FaultEntry& entry : entries()) {
    if (entry.kind.kind == fault.kind) {
      check_takes(fault, entry.kind);
      // The words are looked up in the gauge as it was: a copy, because the
      // fault changes the one in the settings.
      const Gauge gauge = settings.gauge;
      entry.apply(FaultWords(fault, gauge), settings);
      return;
    }
    known.push_back(entry.kind.kind);
  }
  refuse(fault, fmt::format("is not known; there are {}", fmt::join(known, ", ")));
}

std::string describe(const FaultSetting& fault) {
  std::vector<std::string> takes;
  for (const auto& [name, text] : fault.words) takes.push_back(name + " " + text);
  for (const auto& [name, value] : fault.numbers) takes.push_back(fmt::format("{} {}", name, value));
  return takes.empty() ? fault.kind : fmt::format("{} ({})", fault.kind, fmt::join(takes, ", "));
}

}  // namespace tachproof
