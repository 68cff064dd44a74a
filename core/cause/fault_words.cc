// Faults in words: for a person, and for programs.
#include <cmath>

#include "core/base/words.h"
#include "core/cause/fault.h"

namespace tachproof {
namespace {

using Kind = Fault::Kind;

// Free of what arithmetic left behind.
std::string number(double value) { return number_text(std::round(value * 1e6) / 1e6); }
std::string rpm(double value) { return number(value) + " rpm"; }

std::string channel_of(const Gauge& g, const std::optional<std::size_t>& at) {
  return at ? g.channel_name(*at) : "?";
}
std::string window_of(const Gauge& g, const std::optional<std::size_t>& at) {
  return at && *at < g.windows.size() ? g.windows[*at].name : "?";
}
std::string lamp_of(const Gauge& g, const std::optional<std::size_t>& at) {
  return at && *at < g.lamps.size() ? g.lamps[*at].id : "?";
}
std::string anchor_of(const Gauge& g, const std::optional<std::size_t>& at) {
  return at && *at < g.anchors.size() ? g.anchors[*at].first : "?";
}

// Lamp and colour of a channel, apart.
std::pair<std::string, std::string> lamp_and_colour(const Gauge& g, std::size_t channel) {
  for (const Lamp& lamp : g.lamps) {
    if (channel < lamp.colours.size()) return {lamp.id, lamp.colours[channel]};
    channel -= lamp.colours.size();
  }
  return {"?", "?"};
}

std::string too_high(double by, double set) {
  return rpm(std::fabs(by)) + (by >= 0 ? " too high (" : " too low (") + rpm(set + by) +
         ", set: " + number(set) + ")";
}

std::string moved(const Fault& f, const Gauge& g) {
  const bool known = f.boundary && *f.boundary < g.windows.size();
  const double set = known ? g.windows[*f.boundary].from_rpm : 0;
  return "boundary " + window_of(g, f.boundary) + " is " + too_high(f.size.value_or(0), set);
}

std::string stretched(const Fault& f, const Gauge& g) {
  const double by = f.size.value_or(0);
  std::string text = "the count-in from " + window_of(g, f.boundary) + " is " + rpm(std::fabs(by)) +
                     (by >= 0 ? " longer than set" : " shorter than set");
  if (f.window) text.insert(text.find(" is "), " to " + window_of(g, f.window));
  if (const std::optional<std::size_t> end = count_in_end(g, f);
      f.boundary && end && *end < g.windows.size()) {
    const double span = g.windows[*end].from_rpm - g.windows[*f.boundary].from_rpm;
    text += " (" + rpm(span + by) + ", set: " + number(span) + ")";
  }
  return text;
}

std::string of_thresholds(const Fault& f, const Gauge& g) {
  const double size = f.size.value_or(0);
  switch (f.kind) {
    case Kind::anchor_moved:
      return "anchor " + anchor_of(g, f.anchor) + " is " +
             too_high(size, f.anchor && *f.anchor < g.anchors.size() ? g.anchors[*f.anchor].second : 0);
    case Kind::count_in_span: return stretched(f, g);
    case Kind::deadband_missing: return "there is no deadband (set: " + rpm(g.deadband.rpm) + ")";
    case Kind::deadband_width:
      return "the deadband is " + rpm(size) + " wide (set: " + number(g.deadband.rpm) + ")";
    case Kind::deadband_side: {
      const Sits side = f.side.value_or(Sits::below);
      return "the deadband sits " + std::string(word(side)) + (side == Sits::centred ? " on" : "") +
             " the boundaries (set: " + std::string(word(g.deadband.sits)) + ")";
    }
    case Kind::over_rev_missing:
      return "window " + (g.windows.empty() ? "?" : g.windows.back().name) + ", the highest, never shows";
    case Kind::wrong_pulses_per_rev:
      return "the unit counts " + number(size) + " pulses per revolution (set: " + number(g.pulses_per_rev) +
             ")";
    default: return moved(f, g);
  }
}

std::string of_cues(const Fault& f, const Gauge& g) {
  switch (f.kind) {
    case Kind::wrong_colour:
      return (f.window ? "window " + window_of(g, f.window) : std::string("the unit")) + " shows " +
             channel_of(g, f.other_channel) + " in place of " + channel_of(g, f.channel);
    case Kind::cues_swapped:
      return "windows " + window_of(g, f.window) + " and " + window_of(g, f.other_window) +
             " show each other's lamps";
    case Kind::blink_absent:
      return f.window ? "window " + window_of(g, f.window) + " does not blink" : "nothing blinks";
    case Kind::blink_rate:
      return "lamps blink at " + number(f.size.value_or(0)) +
             " Hz (set: " + number(g.blink ? g.blink->hz : 0) + ")";
    case Kind::blink_duty:
      return "blinking lamps are lit for " + number(100 * f.size.value_or(0)) +
             " % of the time (set: " + number(100 * (g.blink ? g.blink->duty : 0)) + " %)";
    default: return "the unit has the settings of " + f.file;
  }
}

std::string of_lamps(const Fault& f, const Gauge& g) {
  const std::string what = f.channel ? channel_of(g, f.channel) : "lamp " + lamp_of(g, f.lamp);
  switch (f.kind) {
    case Kind::swapped_lamps:
      return "lamps " + lamp_of(g, f.lamp) + " and " + lamp_of(g, f.other_lamp) + " are swapped";
    case Kind::wires_swapped:
      return "the wires of " + channel_of(g, f.channel) + " and " + channel_of(g, f.other_channel) +
             " are swapped";
    case Kind::stuck_on: return what + " is always lit";
    case Kind::no_power: return "no lamp is ever lit: the unit has no supply";
    case Kind::no_signal:
      return "the unit gets no tach signal: it stays in window " + window_of(g, std::size_t{0});
    case Kind::intermittent_lamp:
      if (!f.size) return (f.channel || f.lamp ? what : "a lamp") + " goes dark at times";
      return what + " goes dark " + number(f.size.value_or(0)) + " times a minute";
    default: return what + " is never lit";
  }
}

std::string at_instant(const Fault& f) { return f.size ? " at " + number(*f.size) + " s" : ""; }

std::string of_reading(const Fault& f, const Gauge& g) {
  const double size = f.size.value_or(0);
  switch (f.kind) {
    case Kind::slow_response:
      return "the response is " + number(size) + " ms (allowed: " + number(to_ms(g.tolerance.response_from)) +
             " to " + number(to_ms(g.tolerance.response_to)) + " ms)";
    case Kind::slow_filter: return "a filter of " + number(size) + " ms smooths the reading";
    case Kind::dropped_updates:
      if (!f.size) return "the unit skips updates";
      return "the unit skips " + number(100 * size) + " % of its updates";
    case Kind::noisy_reading:
      if (!f.size) return "the reading scatters";
      return "the reading scatters by " + rpm(size) + " (standard deviation)";
    case Kind::freeze: return "the lamps freeze in window " + window_of(g, f.window) + at_instant(f);
    default: return "the supply fails for a moment in window " + window_of(g, f.window) + at_instant(f);
  }
}

std::string of_buttons(const Fault& f, const Gauge& g) {
  const double size = f.size.value_or(0);
  switch (f.kind) {
    case Kind::take_ignored: return "a press that takes the rpm changes nothing";
    case Kind::take_not_refused: return "a press takes any rpm, also outside its range";
    case Kind::take_other_end: return "a press moves the other boundary of its window to the rpm";
    case Kind::take_late: return "a press takes the rpm of " + number(size) + " ms before";
    case Kind::take_lost: return "the rpm that was taken is lost with the supply";
    case Kind::settings_reset:
      return "after a loss of power anchor " + anchor_of(g, f.anchor) + " is off by " + rpm(size);
    case Kind::peak_not_cleared: return "the highest rpm is not cleared";
    case Kind::dim_missing: return "the dimming button leaves out " + number(size) + " %";
    case Kind::dim_colour:
      return "lamp " + lamp_of(g, f.lamp) + " shows " + channel_of(g, f.other_channel) + " when it is dimmed";
    case Kind::slow_boot: return "the unit wakes " + number(size) + " ms too late";
    case Kind::supply_drift: return "all boundaries move with the supply, by " + rpm(size) + " for each volt";
    case Kind::brown_out: return "the unit is off when it is fed less than " + number(size) + " V";
    case Kind::no_return: return "the unit stays dark after its supply dipped";
    default: return "the unit greets with lamp " + lamp_of(g, f.lamp) + " alone";
  }
}

// What a number is called in files and in JSON; nothing: the kind has none.
const char* number_key(Kind kind) {
  switch (kind) {
    case Kind::boundary_moved:
    case Kind::count_in_uneven:
    case Kind::count_in_span: return "by_rpm";
    case Kind::deadband_width:
    case Kind::noisy_reading: return "rpm";
    case Kind::blink_rate: return "hz";
    case Kind::blink_duty: return "duty";
    case Kind::wrong_pulses_per_rev: return "pulses_per_rev";
    case Kind::slow_response:
    case Kind::slow_filter: return "ms";
    case Kind::dropped_updates: return "share";
    case Kind::intermittent_lamp: return "per_min";
    case Kind::freeze:
    case Kind::reset: return "at_s";
    case Kind::take_late:
    case Kind::slow_boot: return "by_ms";
    case Kind::settings_reset: return "by_rpm";
    case Kind::dim_missing: return "level";
    case Kind::supply_drift: return "rpm_per_v";
    case Kind::brown_out: return "at_v";
    default: return nullptr;
  }
}

}  // namespace

std::string describe(const Fault& fault, const Gauge& gauge) {
  switch (fault.kind) {
    case Kind::boundary_moved:
    case Kind::anchor_moved:
    case Kind::count_in_span:
    case Kind::count_in_uneven:
    case Kind::deadband_missing:
    case Kind::deadband_width:
    case Kind::deadband_side:
    case Kind::over_rev_missing:
    case Kind::wrong_pulses_per_rev: return of_thresholds(fault, gauge);
    case Kind::wrong_colour:
    case Kind::cues_swapped:
    case Kind::blink_absent:
    case Kind::blink_rate:
    case Kind::blink_duty:
    case Kind::settings_of: return of_cues(fault, gauge);
    case Kind::swapped_lamps:
    case Kind::wires_swapped:
    case Kind::lamp_dark:
    case Kind::stuck_on:
    case Kind::stuck_off:
    case Kind::no_power:
    case Kind::no_signal:
    case Kind::intermittent_lamp: return of_lamps(fault, gauge);
    case Kind::slow_response:
    case Kind::slow_filter:
    case Kind::dropped_updates:
    case Kind::noisy_reading:
    case Kind::freeze:
    case Kind::reset: return of_reading(fault, gauge);
    case Kind::take_ignored:
    case Kind::take_not_refused:
    case Kind::take_other_end:
    case Kind::take_late:
    case Kind::take_lost:
    case Kind::settings_reset:
    case Kind::peak_not_cleared:
    case Kind::dim_missing:
    case Kind::dim_colour:
    case Kind::slow_boot:
    case Kind::greets_wrong:
    case Kind::supply_drift:
    case Kind::brown_out:
    case Kind::no_return: return of_buttons(fault, gauge);
  }
  return "";
}

FaultKeys keys_of(const Fault& fault, const Gauge& gauge) {
  FaultKeys keys;
  const auto say = [&](const char* key, std::string text) { keys.words.emplace_back(key, std::move(text)); };
  if (fault.boundary) say("boundary", window_of(gauge, fault.boundary));
  if (fault.anchor) say("anchor", anchor_of(gauge, fault.anchor));
  if (fault.side) say("sits", std::string(word(*fault.side)));
  if (!fault.file.empty()) say("file", fault.file);
  if (!fault.accepted.empty()) say("accepted", fault.accepted);
  if (fault.kind == Kind::wires_swapped) {
    keys.channels = {channel_of(gauge, fault.channel), channel_of(gauge, fault.other_channel)};
  } else if (fault.channel) {
    const auto [lamp, colour] = lamp_and_colour(gauge, *fault.channel);
    say("lamp", lamp);
    say("colour", colour);
    if (fault.other_channel) say("to", lamp_and_colour(gauge, *fault.other_channel).second);
  } else if (fault.lamp) {
    say("lamp", lamp_of(gauge, fault.lamp));
    if (fault.other_lamp) say("with", lamp_of(gauge, fault.other_lamp));
    if (fault.kind == Kind::dim_colour && fault.other_channel)
      say("to", lamp_and_colour(gauge, *fault.other_channel).second);
  }
  if (fault.window) say("window", window_of(gauge, fault.window));
  if (fault.other_window) say("with", window_of(gauge, fault.other_window));
  if (fault.kind == Kind::anchor_moved && fault.anchor && fault.size &&
      *fault.anchor < gauge.anchors.size()) {
    const double set = gauge.anchors[*fault.anchor].second;
    keys.numbers = {{"from_rpm", set}, {"to_rpm", set + *fault.size}};
  } else if (const char* key = number_key(fault.kind); key != nullptr && fault.size) {
    keys.numbers = {{key, *fault.size}};
  }
  return keys;
}

}  // namespace tachproof
