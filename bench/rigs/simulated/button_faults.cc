// Faults that show where somebody presses a button, or where the supply comes back.
#include <algorithm>
#include <cmath>

#include "bench/rigs/simulated/fault_entry.h"
#include "bench/rigs/simulated/unit_buttons.h"

namespace tachproof {
namespace {

template <class Does>
void need_button(const FaultWords& words, const UnitSettings& s, const char* that) {
  const auto is = [](const Button& button) { return std::holds_alternative<Does>(button.does); };
  if (std::none_of(s.gauge.buttons.begin(), s.gauge.buttons.end(), is))
    words.refuse_because(fmt::format("needs a gauge with a button that {}", that));
}
void need_take(const FaultWords& words, const UnitSettings& s) {
  need_button<TakeRpm>(words, s, "takes the rpm");
}

void ignore_take(const FaultWords& words, UnitSettings& s) {
  need_take(words, s);
  s.buttons.take_ignored = true;
}
void take_anything(const FaultWords& words, UnitSettings& s) {
  need_take(words, s);
  s.buttons.take_not_refused = true;
}
void lose_take(const FaultWords& words, UnitSettings& s) {
  need_take(words, s);
  s.buttons.take_lost = true;
}

void take_other_end(const FaultWords& words, UnitSettings& s) {
  need_take(words, s);
  const auto has_two = [&](const Button& button) {
    const auto* take = std::get_if<TakeRpm>(&button.does);
    return take != nullptr && other_end(s.gauge, take->boundary);
  };
  if (std::none_of(s.gauge.buttons.begin(), s.gauge.buttons.end(), has_two))
    words.refuse_because("needs a take whose window has both its boundaries on the same anchor");
  s.buttons.take_other_end = true;
}

void take_late(const FaultWords& words, UnitSettings& s) {
  need_take(words, s);
  s.buttons.take_late = words.ms_or("by_ms", ns_per_s);
}

void reset_settings(const FaultWords& words, UnitSettings& s) {
  ButtonFaults::Anchors to{words.has("anchor") ? words.text("anchor") : "", words.number("by_rpm")};
  const auto hangs = [&](const Window& window) {
    return !window.anchor.empty() && (to.name.empty() || window.anchor == to.name);
  };
  if (std::none_of(s.gauge.windows.begin(), s.gauge.windows.end(), hangs))
    words.refuse_because(to.name.empty()
                             ? "needs a gauge with an anchor"
                             : fmt::format("names the anchor '{}', from which nothing hangs", to.name));
  s.buttons.reset_to = std::move(to);
}

void keep_peak(const FaultWords& words, UnitSettings& s) {
  need_button<ShowPeak>(words, s, "shows the peak");
  s.buttons.peak_not_cleared = true;
}

void skip_level(const FaultWords& words, UnitSettings& s) {
  need_button<Dim>(words, s, "dims");
  const double level = words.number("level") / 100;
  const auto has_it = [&](const Button& button) {
    const auto* dim = std::get_if<Dim>(&button.does);
    return dim != nullptr && std::any_of(dim->levels.begin(), dim->levels.end(),
                                         [&](double share) { return is_level(share, level); });
  };
  if (std::none_of(s.gauge.buttons.begin(), s.gauge.buttons.end(), has_it))
    words.refuse_because(fmt::format("has level {}, which no button has", words.number("level")));
  s.buttons.skipped_levels.push_back(level);
}

void colour_when_dimmed(const FaultWords& words, UnitSettings& s) {
  s.dim_colours.push_back({words.lamp_channels(), words.channel("to")});
}

void boot_slowly(const FaultWords& words, UnitSettings& s) { s.boot_late += words.ms("by_ms"); }

void greet_wrongly(const FaultWords& words, UnitSettings& s) {
  if (!s.gauge.power_up || !s.gauge.power_up->greets) words.refuse_because("needs a gauge that greets");
  const Channels lamp = words.lamp_channels();
  const Channels first_colour = lamp & (~lamp + 1);
  s.gauge.power_up->greets->cue = {words.has("colour") ? words.channel("colour") : first_colour, 0};
}

}  // namespace

std::vector<FaultEntry> button_faults() {
  return {
      {fault_kind("take-ignored", "A take changes nothing, also where the rpm is allowed."), ignore_take},
      {fault_kind("take-not-refused", "A take is done at any rpm, also where none is allowed."),
       take_anything},
      {fault_kind("take-other-end", "A take moves the other boundary of its window to the rpm."),
       take_other_end},
      {fault_kind("take-late", "A take gets the rpm of this long ago; a second unless by_ms is given.", {},
                  {}, {"by_ms"}),
       take_late},
      {fault_kind("take-lost", "No take is kept over a loss of power."), lose_take},
      {fault_kind("settings-reset",
                  "After a loss of power all anchors, or the one that is named, are off by this much.", {},
                  {"by_rpm"}, {}, {"anchor"}),
       reset_settings},
      {fault_kind("peak-not-cleared", "The second press does not clear the peak."), keep_peak},
      {fault_kind("dim-missing", "Dimming leaves out the level of this many per cent.", {}, {"level"}),
       skip_level},
      {fault_kind("dim-colour", "A lamp shows this colour instead when it is dimmed below 50 per cent.",
                  {"lamp", "to"}),
       colour_when_dimmed},
      {fault_kind("slow-boot", "Every boot takes this much longer.", {}, {"by_ms"}), boot_slowly},
      {fault_kind("greets-wrong", "The greeting is this lamp alone, in its first colour if none is said.",
                  {"lamp"}, {}, {}, {"colour"}),
       greet_wrongly},
  };
}

}  // namespace tachproof
