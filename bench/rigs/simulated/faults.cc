#include "bench/rigs/simulated/faults.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>
#include <stdexcept>

#include "bench/rigs/simulated/simulated_unit.h"

namespace tachproof {
namespace {

[[noreturn]] void refuse(const FaultSetting& fault, const std::string& why) {
  throw std::invalid_argument(fmt::format("The fault '{}' {}.", fault.kind, why));
}

// A fault's words looked up in the unit's gauge.
class Words {
 public:
  Words(const FaultSetting& fault, const Gauge& gauge) : fault_(fault), gauge_(gauge) {}

  bool has(const std::string& name) const { return fault_.words.count(name) > 0; }
  const std::string& text(const std::string& name) const { return fault_.words.at(name); }
  double number(const std::string& name) const { return fault_.numbers.at(name); }
  double number_or(const std::string& name, double otherwise) const {
    const auto found = fault_.numbers.find(name);
    return found == fault_.numbers.end() ? otherwise : found->second;
  }
  Nanos ms(const std::string& name) const { return std::llround(number(name) * 1e6); }
  Nanos ms_or(const std::string& name, Nanos otherwise) const {
    return has_number(name) ? ms(name) : otherwise;
  }
  Nanos seconds(const std::string& name) const { return from_seconds(number(name)); }
  bool has_number(const std::string& name) const { return fault_.numbers.count(name) > 0; }

  std::size_t window(const std::string& name) const {
    for (std::size_t i = 0; i < gauge_.windows.size(); ++i)
      if (gauge_.windows[i].name == text(name)) return i;
    refuse(fault_, fmt::format("names the window '{}', which the gauge does not have", text(name)));
  }
  std::size_t boundary() const {
    for (std::size_t i = 1; i < gauge_.windows.size(); ++i)
      if (gauge_.windows[i].name == text("boundary")) return i;
    refuse(fault_, fmt::format("names the boundary '{}', which the gauge does not have", text("boundary")));
  }
  std::size_t lamp(const std::string& name) const {
    for (std::size_t i = 0; i < gauge_.lamps.size(); ++i)
      if (gauge_.lamps[i].id == text(name)) return i;
    refuse(fault_, fmt::format("names the lamp '{}', which the gauge does not have", text(name)));
  }
  Channels lamp_channels() const { return gauge_.lamp_channels(lamp("lamp")); }
  // One colour of `lamp`.
  Channels channel(const std::string& colour) const {
    lamp("lamp");
    const Channels channel = gauge_.channel(text("lamp"), text(colour));
    if (channel == 0)
      refuse(fault_, fmt::format("names the colour '{}', which the lamp '{}' does not have", text(colour),
                                 text("lamp")));
    return channel;
  }
  [[noreturn]] void refuse_because(const std::string& why) const { refuse(fault_, why); }

 private:
  const FaultSetting& fault_;
  const Gauge& gauge_;
};

// ---- thresholds -----------------------------------------------------------------

void move_boundary(const Words& words, UnitSettings& s) {
  s.gauge.windows[words.boundary()].from_rpm += words.number("by_rpm");
}

void make_count_in_uneven(const Words& words, UnitSettings& s) {
  if (!words.text("boundary").starts_with("count-in-"))
    words.refuse_because(fmt::format("needs a count-in boundary, not '{}'", words.text("boundary")));
  move_boundary(words, s);
}

void drop_deadband(const Words&, UnitSettings& s) { s.gauge.deadband.rpm = 0; }
void set_deadband_width(const Words& words, UnitSettings& s) { s.gauge.deadband.rpm = words.number("rpm"); }

void set_deadband_side(const Words& words, UnitSettings& s) {
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

void drop_over_rev(const Words& words, UnitSettings& s) {
  if (s.gauge.boundaries() == 0) words.refuse_because("needs a gauge with more than one window");
  s.gauge.windows.back().from_rpm = std::numeric_limits<double>::infinity();
}

// ---- cues ------------------------------------------------------------------------

void show_wrong_colour(const Words& words, UnitSettings& s) {
  const Channels instead = words.channel("to");
  const Channels replaced = words.has("colour") ? words.channel("colour") : words.lamp_channels();
  const auto recolour = [&](Channels& lit) {
    if (lit & replaced) lit = (lit & ~words.lamp_channels()) | instead;
  };
  const std::size_t first = words.has("window") ? words.window("window") : 0;
  const std::size_t end = words.has("window") ? first + 1 : s.gauge.windows.size();
  for (std::size_t i = first; i < end; ++i) {
    recolour(s.gauge.windows[i].cue.steady);
    recolour(s.gauge.windows[i].cue.blinking);
  }
}

// The plugs of two lamps are swapped: first colour for first colour and so on,
// whatever the colours are. One without a counterpart stays dark.
void swap_lamps(const Words& words, UnitSettings& s) {
  const Channels a = s.gauge.lamp_channels(words.lamp("lamp"));
  const Channels b = s.gauge.lamp_channels(words.lamp("with"));
  const int shift_a = std::countr_zero(a), shift_b = std::countr_zero(b);
  const auto swap = [&](Channels& lit) {
    const Channels to_b = (((lit & a) >> shift_a) << shift_b) & b;
    const Channels to_a = (((lit & b) >> shift_b) << shift_a) & a;
    lit = (lit & ~(a | b)) | to_a | to_b;
  };
  for (Window& window : s.gauge.windows) {
    swap(window.cue.steady);
    swap(window.cue.blinking);
  }
}

void drop_blink(const Words& words, UnitSettings& s) {
  for (std::size_t i = 0; i < s.gauge.windows.size(); ++i) {
    if (words.has("window") && i != words.window("window")) continue;
    Cue& cue = s.gauge.windows[i].cue;
    cue.steady |= cue.blinking;
    cue.blinking = 0;
  }
}

Blink& blink_of(const Words& words, UnitSettings& s) {
  if (!s.gauge.blink) words.refuse_because("needs a gauge that blinks");
  return *s.gauge.blink;
}
void set_blink_rate(const Words& words, UnitSettings& s) { blink_of(words, s).hz = words.number("hz"); }
void set_blink_duty(const Words& words, UnitSettings& s) { blink_of(words, s).duty = words.number("duty"); }

// ---- lamps, wires and supply -------------------------------------------------------

void stick_on(const Words& words, UnitSettings& s) { s.stuck_on |= words.channel("colour"); }
void stick_off(const Words& words, UnitSettings& s) {
  s.stuck_off |= words.has("colour") ? words.channel("colour") : words.lamp_channels();
}

void loosen_lamp(const Words& words, UnitSettings& s) {
  s.intermittent.push_back(
      {words.lamp_channels(), words.number("per_min"), words.ms_or("for_ms", 100 * ns_per_ms)});
}

void freeze(const Words& words, UnitSettings& s) {
  const Nanos from = words.seconds("at_s");
  s.frozen.push_back({from, words.has_number("for_s") ? from + words.seconds("for_s") : never});
}

void dip_supply(const Words& words, UnitSettings& s) {
  const Nanos from = words.seconds("at_s");
  const Nanos boot = words.ms_or("boot_ms", s.boot > 0 ? s.boot : 500 * ns_per_ms);
  s.unpowered.push_back({from, from + std::max<Nanos>(boot, 1)});
}

// ---- the reading ---------------------------------------------------------------------

void set_pulses_per_rev(const Words& words, UnitSettings& s) {
  s.gauge.pulses_per_rev = words.number("pulses_per_rev");
}
void slow_filter(const Words& words, UnitSettings& s) { s.filter = words.ms("ms"); }
void slow_response(const Words& words, UnitSettings& s) { s.response = words.ms("ms"); }
void drop_updates(const Words& words, UnitSettings& s) { s.dropped_share = words.number("share"); }
void add_noise(const Words& words, UnitSettings& s) { s.noise_rpm = words.number("rpm"); }

// ---- the catalogue ---------------------------------------------------------------------

struct Entry {
  FaultKind kind;
  void (*apply)(const Words&, UnitSettings&);
};

FaultKind kind(std::string name, std::string does, std::vector<std::string> words = {},
               std::vector<std::string> numbers = {}, std::vector<std::string> optional_numbers = {},
               std::vector<std::string> optional_words = {}) {
  return {std::move(name),
          std::move(does),
          std::move(words),
          std::move(numbers),
          std::move(optional_numbers),
          std::move(optional_words)};
}

const std::vector<Entry>& entries() {
  static const std::vector<Entry> all{
      {kind("boundary-moved", "One boundary is off by this much.", {"boundary"}, {"by_rpm"}), move_boundary},
      {kind("count-in-uneven", "One boundary of a count-in is off by this much.", {"boundary"}, {"by_rpm"}),
       make_count_in_uneven},
      {kind("deadband-missing", "There is no deadband."), drop_deadband},
      {kind("deadband-width", "The deadband has this width.", {}, {"rpm"}), set_deadband_width},
      {kind("deadband-side", "The deadband sits below, centred on or above the boundaries.", {"sits"}),
       set_deadband_side},
      {kind("over-rev-missing", "The highest window never shows; the unit stays in the one below."),
       drop_over_rev},
      {kind("wrong-colour", "A lamp that should be lit shows this colour instead.", {"lamp", "to"}, {}, {},
            {"window", "colour"}),
       show_wrong_colour},
      {kind("swapped-lamps", "The plugs of two lamps are swapped.", {"lamp", "with"}), swap_lamps},
      {kind("stuck-on", "One colour of a lamp is always lit, even without supply.", {"lamp", "colour"}),
       stick_on},
      {kind("stuck-off", "A lamp, or one colour of it, is never lit.", {"lamp"}, {}, {}, {"colour"}),
       stick_off},
      {kind("blink-absent", "What should blink is lit steadily.", {}, {}, {}, {"window"}), drop_blink},
      {kind("blink-rate", "It blinks at this rate.", {}, {"hz"}), set_blink_rate},
      {kind("blink-duty", "It blinks with this lit share.", {}, {"duty"}), set_blink_duty},
      {kind("wrong-pulses-per-rev", "The unit counts this many pulses per revolution.", {},
            {"pulses_per_rev"}),
       set_pulses_per_rev},
      {kind("slow-filter", "A low-pass with this time constant smooths the reading.", {}, {"ms"}),
       slow_filter},
      {kind("slow-response", "The unit's response is this long.", {}, {"ms"}), slow_response},
      {kind("dropped-updates", "This share of the updates is skipped.", {}, {"share"}), drop_updates},
      {kind("noisy-reading", "Normal noise of this standard deviation is added to the reading.", {}, {"rpm"}),
       add_noise},
      {kind("intermittent-lamp", "A lamp goes dark at random, this often a minute, for 100 ms unless given.",
            {"lamp"}, {"per_min"}, {"for_ms"}),
       loosen_lamp},
      {kind("freeze", "The lamps freeze at this instant, for good unless for_s is given.", {}, {"at_s"},
            {"for_s"}),
       freeze},
      {kind("reset", "The supply dips: dark for the boot time, peak and state lost.", {}, {"at_s"},
            {"boot_ms"}),
       dip_supply},
  };
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
    for (const Entry& entry : entries()) all.push_back(entry.kind);
    return all;
  }();
  return kinds;
}

void apply_fault(const FaultSetting& fault, UnitSettings& settings) {
  std::vector<std::string> known;
  for (const Entry& entry : entries()) {
    if (entry.kind.kind == fault.kind) {
      check_takes(fault, entry.kind);
      // The words are looked up in the gauge as it was: a copy, because the
      // fault changes the one in the settings.
      const Gauge gauge = settings.gauge;
      entry.apply(Words(fault, gauge), settings);
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
