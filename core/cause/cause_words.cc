#include "core/cause/cause_words.h"

#include <algorithm>
#include <cmath>

#include "core/base/text.h"
#include "core/base/words.h"
#include "core/cause/button_causes.h"
#include "core/gauge/settings_change.h"

namespace tachproof {
namespace {

using Kind = Fault::Kind;
constexpr std::size_t most_left = 5;

char upper(char c) { return c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c; }
char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }

// With as many decimals as U has meaning: one figure of it.
int decimals_of(double u) {
  return !(u > 0) ? 2 : u >= 1 ? 0 : std::min(6, static_cast<int>(std::ceil(-std::log10(u))));
}
// A setting, free of what arithmetic left behind.
std::string set_text(double value) { return number_text(std::round(value * 100) / 100); }
std::string rounded(double value, double u) {
  const double near = std::round(value);
  if (std::abs(near - value) < 1e-9) return number_text(near);
  return decimal(value, decimals_of(u));
}

std::string plus_minus(double u, const std::string& unit) {
  return std::isfinite(u)
             ? ", U = " + decimal(u, std::max(1, decimals_of(u))) + (unit.empty() ? "" : " " + unit)
             : "";
}

// "5150 (set: 5210)".
std::string instead(double is, double set, double u, const std::string& unit) {
  return rounded(is, u) + (unit.empty() ? "" : " " + unit) + " (set: " + set_text(set) + plus_minus(u, unit) +
         ")";
}

std::string lamp_name(const Gauge& g, const Fault& f) {
  return f.channel ? g.channel_name(*f.channel) : f.lamp ? "lamp " + g.lamps[*f.lamp].id : "?";
}

std::string of_thresholds(const Gauge& g, const Fault& f, double u) {
  const double size = f.size.value_or(0);
  switch (f.kind) {
    case Kind::anchor_moved: {
      const auto& [name, rpm] = g.anchors[*f.anchor];
      return "acts as if anchor " + name + " were " + instead(rpm + size, rpm, u, "rpm");
    }
    case Kind::boundary_moved:
    case Kind::count_in_uneven: {
      const Window& w = g.windows[*f.boundary];
      return "acts as if boundary " + w.name + " were at " + instead(w.from_rpm + size, w.from_rpm, u, "rpm");
    }
    case Kind::deadband_width: return "has a deadband of " + instead(size, g.deadband.rpm, u, "rpm");
    case Kind::deadband_missing: return "has no deadband (set: " + set_text(g.deadband.rpm) + " rpm)";
    case Kind::count_in_span: {
      double set = 0;
      if (const std::optional<std::size_t> end = count_in_end(g, f); end && *end < g.windows.size())
        set = g.windows[*end].from_rpm - g.windows[*f.boundary].from_rpm;
      return "acts as if the count-in from " + g.windows[*f.boundary].name +
             (f.window ? " to " + g.windows[*f.window].name : "") + " spanned " +
             instead(set + size, set, u, "rpm");
    }
    case Kind::wrong_pulses_per_rev:
      return "counts " + instead(size, g.pulses_per_rev, u, "") + " pulses per revolution";
    default: return "acts as if " + describe(f, g);
  }
}

// A sentence without its full stop.
std::string sentence(const Gauge& g, const Fault& f, double u) {
  const double size = f.size.value_or(0);
  switch (f.kind) {
    case Kind::anchor_moved:
    case Kind::boundary_moved:
    case Kind::count_in_span:
    case Kind::count_in_uneven:
    case Kind::deadband_width:
    case Kind::deadband_missing:
    case Kind::wrong_pulses_per_rev: return "The unit " + of_thresholds(g, f, u);
    case Kind::blink_rate: return "Lamps blink at " + instead(size, g.blink ? g.blink->hz : 0, u, "Hz");
    case Kind::blink_duty:
      return "Blinking lamps are lit for " + decimal(100 * size, 0) +
             " % of the time (set: " + decimal(100 * (g.blink ? g.blink->duty : 0), 0) + " %)";
    case Kind::slow_response:
      return "The unit responds in " + decimal(size, 0) +
             " ms (allowed: " + decimal(to_ms(g.tolerance.response_from), 0) + " to " +
             decimal(to_ms(g.tolerance.response_to), 0) + " ms" + plus_minus(u, "ms") + ")";
    case Kind::slow_filter:
      return "The unit smooths its reading with a time constant of about " + decimal(size, 0) + " ms";
    case Kind::dropped_updates: return "The unit renews its lamps only now and then: it skips updates";
    case Kind::noisy_reading:
      return "The unit's reading is noisy: up to " + decimal(size, 1) + " rpm (standard deviation)";
    case Kind::intermittent_lamp:
      return "Lamp " + g.lamps[*f.lamp].id + " goes dark now and then, about " + decimal(size, 0) +
             " times a minute";
    case Kind::freeze: return "The lamps did not change from " + decimal(size, 2) + " s on for a time";
    case Kind::reset: return "The unit went dark at " + decimal(size, 2) + " s, as without supply";
    default: break;
  }
  std::string text = describe(f, g);
  if (!text.empty()) text[0] = upper(text[0]);
  return text;
}

bool of_settings(Kind kind) {
  switch (kind) {
    case Kind::anchor_moved:
    case Kind::boundary_moved:
    case Kind::count_in_span:
    case Kind::count_in_uneven:
    case Kind::deadband_missing:
    case Kind::deadband_width:
    case Kind::deadband_side:
    case Kind::over_rev_missing:
    case Kind::cues_swapped:
    case Kind::blink_absent:
    case Kind::blink_rate:
    case Kind::blink_duty:
    case Kind::settings_of: return true;
    default: return false;
  }
}

std::string of_wiring(const Gauge& g, const Fault& f) {
  switch (f.kind) {
    case Kind::wires_swapped:
      return "Check the wires of " + g.channel_name(*f.channel) + " and " + g.channel_name(*f.other_channel) +
             ", at the unit and at the bench's inputs: they are swapped.";
    case Kind::swapped_lamps:
      return "Swap the plugs of the lamps " + g.lamps[*f.lamp].id + " and " + g.lamps[*f.other_lamp].id + ".";
    case Kind::lamp_dark:
    case Kind::stuck_off:
      return "Check the wire of " + lamp_name(g, f) + " and its input; then replace the lamp.";
    case Kind::stuck_on:
      return "Check the wire of " + lamp_name(g, f) + " for a short circuit; then replace the lamp's driver.";
    case Kind::intermittent_lamp:
      return "Check the plug and the wire of lamp " + g.lamps[*f.lamp].id + " for a loose contact.";
    case Kind::no_power: return "Check the unit's supply and its fuse; then the common wire of the lamps.";
    case Kind::no_signal: return "Check the tach wire to the unit, and the level that the unit needs.";
    default: return "";
  }
}

// What to do next.
std::string todo(const Gauge& g, const Fault& f) {
  if (of_settings(f.kind)) return "Write the settings to the unit again.";
  switch (f.kind) {
    case Kind::wrong_pulses_per_rev:
      return "Set pulses per revolution to " + set_text(g.pulses_per_rev) + " in the unit.";
    case Kind::wrong_colour:
      return "Check the colours in the unit's settings; then the wires of " + g.channel_name(*f.channel) +
             " and " + g.channel_name(*f.other_channel) + ".";
    case Kind::slow_response:
    case Kind::slow_filter:
      return "Look in the unit's settings for smoothing or damping, and set less of it.";
    case Kind::dropped_updates: return "Check the unit's firmware and its supply; then replace the unit.";
    case Kind::noisy_reading:
      return "Check the tach wire's shield and ground, and the unit's input filter; then run again.";
    case Kind::freeze: return "Run again: if the lamps stop again, replace the unit.";
    case Kind::reset:
      return "Check the plug, the wires and the voltage of the unit's supply; then run again.";
    default: return of_wiring(g, f);
  }
}

CauseChange change_of(const Gauge& g, const Fault& f, double u) {
  const FaultKeys keys = keys_of(f, g);
  CauseChange change{std::string(word(f.kind)), keys.words, keys.numbers, keys.channels};
  if (f.kind == Kind::anchor_moved) {
    const double set = g.anchors[*f.anchor].second;
    change.numbers = {{"from_rpm", set}, {"to_rpm", set + f.size.value_or(0)}};
  }
  if (!std::isfinite(u)) return change;
  const std::string unit = f.kind == Kind::blink_rate      ? "_hz"
                           : f.kind == Kind::slow_response ? "_ms"
                           : unit_of(f.kind) == "rpm"      ? "_rpm"
                                                           : "";
  change.numbers.emplace_back("expanded_uncertainty" + unit, u);
  return change;
}

}  // namespace

std::string share_of(const Cause& cause) {
  if (cause.of == 1 && cause.whole()) return "explains the finding";
  return std::string(cause.whole() ? "explains " : "explains only ") + std::to_string(cause.explains) +
         " of " + std::to_string(cause.of) + " findings";
}

std::string in_one_line(const Causes& causes) {
  std::string line;
  for (const Cause& cause : causes.list) {
    line += (line.empty() ? "" : " Or: ") + cause.text + "; " + share_of(cause) + ". " + cause.todo;
    if (causes.told_apart) break;
  }
  return line;
}

Cause cause_of(const Gauge& set, const Trial& trial, std::uint64_t of) {
  Cause cause;
  const Hypothesis& h = trial.hypothesis;
  for (std::size_t i = 0; i < h.faults.size(); ++i) {
    const Fault& fault = h.faults[i];
    if (fault.kind == Kind::settings_of) {
      cause.text = fault.accepted.empty() ? "The unit behaves exactly as " + fault.file + " says"
                                          : "The unit behaves exactly as its accepted run of " +
                                                fault.accepted + " says (" + fault.file + ")";
      std::string how;
      for (const std::string& one : sentences(settings_change(set, h.gauge)))
        if (how.size() < 200) how += (how.empty() ? ": " : "; ") + one;
      cause.text += how;
    } else {
      std::string text = sentence(set, fault, h.u[i]);
      if (i > 0) text[0] = lower(text[0]);
      cause.text += (i == 0 ? "" : ", and ") + text;
    }
    cause.changes.push_back(change_of(set, fault, h.u[i]));
    const std::string next = todo(set, fault);
    if (cause.todo.find(next) == std::string::npos) cause.todo += (cause.todo.empty() ? "" : " ") + next;
  }
  cause.of = of;
  cause.explains = of - std::min(of, trial.left);
  for (const RunResult& result : trial.results)
    for (const Finding& finding : result.findings)
      if (verdict_of(finding.kind) == Verdict::fail && !is_of_a_button(finding.kind) &&
          cause.left.size() < most_left)
        cause.left.push_back(finding.message);
  return cause;
}

}  // namespace tachproof
