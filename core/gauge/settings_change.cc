#include "core/gauge/settings_change.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "core/gauge/buttons_change.h"

#include "core/base/words.h"

namespace tachproof {
namespace {

// Settings are typed by people: what differs by less came from arithmetic.
constexpr double same_within = 1e-6;

std::optional<std::size_t> window_called(const Gauge& gauge, const std::string& name) {
  for (std::size_t i = 0; i < gauge.windows.size(); ++i)
    if (gauge.windows[i].name == name) return i;
  return std::nullopt;
}

std::optional<std::size_t> window_from(const Gauge& gauge, double rpm) {
  for (std::size_t i = 0; i < gauge.windows.size(); ++i)
    if (std::fabs(gauge.windows[i].from_rpm - rpm) < same_within) return i;
  return std::nullopt;
}

// For each window of `after`, its number in `before`.
std::vector<std::optional<std::size_t>> origins(const Gauge& before, const Gauge& after) {
  std::vector<std::optional<std::size_t>> origin;
  for (const Window& window : after.windows) origin.push_back(window_called(before, window.name));
  for (std::size_t i = 0; i < origin.size(); ++i) {
    if (origin[i]) continue;
    const auto same_place = window_from(before, after.windows[i].from_rpm);
    if (same_place && std::find(origin.begin(), origin.end(), same_place) == origin.end())
      origin[i] = same_place;
  }
  return origin;
}

std::string speed_at(const Gauge& gauge, double rpm) {
  if (!gauge.drive || std::isnan(rpm)) return "";
  return say_speed(gauge.drive->speed_when_set(rpm, gauge.tolerance.rpm), gauge.drive->said_in);
}

WindowChange window_change(const Gauge& before, const Gauge& after, std::optional<std::size_t> was,
                           std::optional<std::size_t> is) {
  WindowChange change;
  change.before = was;
  change.after = is;
  if (was) {
    change.name = before.windows[*was].name;
    change.from_rpm.before = before.windows[*was].from_rpm;
    change.speed_before = speed_at(before, change.from_rpm.before);
    change.cue_before = before.describe(before.windows[*was].cue);
  }
  if (is) {
    if (was && change.name != after.windows[*is].name) change.was_called = change.name;
    change.name = after.windows[*is].name;
    change.from_rpm.after = after.windows[*is].from_rpm;
    change.speed_after = speed_at(after, change.from_rpm.after);
    change.cue_after = after.describe(after.windows[*is].cue);
  }
  if (was && *was > 0) {
    change.rising_rpm.before = before.rising_rpm(*was);
    change.falling_rpm.before = before.falling_rpm(*was);
  }
  if (is && *is > 0) {
    change.rising_rpm.after = after.rising_rpm(*is);
    change.falling_rpm.after = after.falling_rpm(*is);
  }
  return change;
}

std::vector<WindowChange> window_changes(const Gauge& before, const Gauge& after) {
  const auto origin = origins(before, after);
  std::vector<WindowChange> all;
  for (std::size_t i = 0; i < origin.size(); ++i) all.push_back(window_change(before, after, origin[i], i));
  for (std::size_t was = 0; was < before.windows.size(); ++was) {
    if (std::find(origin.begin(), origin.end(), was) != origin.end()) continue;
    const auto later = std::find_if(all.begin(), all.end(), [&](const WindowChange& w) {
      const double rpm = w.after ? w.from_rpm.after : w.from_rpm.before;
      return rpm > before.windows[was].from_rpm;
    });
    all.insert(later, window_change(before, after, was, std::nullopt));
  }
  return all;
}

std::vector<NamedChange> anchor_changes(const Gauge& before, const Gauge& after) {
  std::vector<NamedChange> all;
  const auto find = [&](const std::string& name) {
    return std::find_if(all.begin(), all.end(), [&](const NamedChange& a) { return a.name == name; });
  };
  for (const auto& [name, rpm] : before.anchors) all.push_back({name, "rpm", {rpm, not_measured}});
  for (const auto& [name, rpm] : after.anchors) {
    const auto known = find(name);
    if (known == all.end())
      all.push_back({name, "rpm", {not_measured, rpm}});
    else
      known->value.after = rpm;
  }
  for (NamedChange& a : all) {
    a.speed_before = speed_at(before, a.value.before);
    a.speed_after = speed_at(after, a.value.after);
  }
  std::erase_if(all, [](const NamedChange& a) { return !a.value.changed(); });
  return all;
}

std::vector<NamedChange> number_changes(const Gauge& before, const Gauge& after) {
  const auto blink = [](const Gauge& gauge, double Blink::*part) {
    return gauge.blink ? (*gauge.blink).*part : not_measured;
  };
  const auto or_none = [](double resolution) { return resolution > 0 ? resolution : not_measured; };
  const Tolerance& was = before.tolerance;
  const Tolerance& is = after.tolerance;
  std::vector<NamedChange> all = {
      {"pulses per revolution", "", {before.pulses_per_rev, after.pulses_per_rev}},
      {"resolution", "rpm", {or_none(before.resolution_rpm), or_none(after.resolution_rpm)}},
      {"deadband", "rpm", {before.deadband.rpm, after.deadband.rpm}},
      {"blink", "Hz", {blink(before, &Blink::hz), blink(after, &Blink::hz)}},
      {"blink duty", "", {blink(before, &Blink::duty), blink(after, &Blink::duty)}},
      {"tolerance", "rpm", {was.rpm, is.rpm}},
      {"response at least", "ms", {to_ms(was.response_from), to_ms(is.response_from)}},
      {"response at most", "ms", {to_ms(was.response_to), to_ms(is.response_to)}},
      {"settling time", "ms", {to_ms(was.settle), to_ms(is.settle)}},
      {"blink tolerance", "Hz", {was.blink_hz, is.blink_hz}},
      {"blink duty tolerance", "", {was.blink_duty, is.blink_duty}},
      {"signal lost after", "ms", {to_ms(was.signal_lost), to_ms(is.signal_lost)}}};
  const std::vector<NamedChange> power = power_numbers(before, after);
  all.insert(all.end(), power.begin(), power.end());
  std::erase_if(all, [](const NamedChange& n) { return !n.value.changed(); });
  return all;
}

std::string colours_of(const Lamp& lamp) {
  std::string text;
  for (const std::string& colour : lamp.colours) text += (text.empty() ? "" : ", ") + colour;
  return text;
}

std::vector<std::string> lamp_changes(const Gauge& before, const Gauge& after) {
  const auto find = [](const Gauge& gauge, const std::string& id) {
    return std::find_if(gauge.lamps.begin(), gauge.lamps.end(), [&](const Lamp& l) { return l.id == id; });
  };
  std::vector<std::string> all;
  std::vector<std::string> kept_before, kept_after;
  for (const Lamp& lamp : before.lamps) {
    if (find(after, lamp.id) == after.lamps.end())
      all.push_back("lamp " + lamp.id + " is gone");
    else
      kept_before.push_back(lamp.id);
  }
  for (const Lamp& lamp : after.lamps) {
    const auto was = find(before, lamp.id);
    if (was == before.lamps.end()) {
      all.push_back("lamp " + lamp.id + " is new: " + colours_of(lamp));
      continue;
    }
    kept_after.push_back(lamp.id);
    if (was->colours != lamp.colours)
      all.push_back("lamp " + lamp.id + " has the colours " + colours_of(lamp) + ", no longer " +
                    colours_of(*was));
  }
  if (kept_before != kept_after) all.push_back("the lamps stand in another order");
  return all;
}

// What an anchor that stays where it is means with another drive.
std::string anchors_in_speed(const Gauge& before, const Gauge& after) {
  std::string text;
  for (const auto& [name, rpm] : before.anchors) {
    const auto kept =
        std::find_if(after.anchors.begin(), after.anchors.end(), [&, &name = name, rpm = rpm](const auto& a) {
          return a.first == name && std::fabs(a.second - rpm) < same_within;
        });
    if (kept != after.anchors.end())
      text += (text.empty() ? ": anchor " : ", anchor ") + name + " stays at " + number_text(rpm) +
              " rpm and means " + speed_at(after, rpm) + ", no longer " + speed_at(before, rpm);
  }
  return text;
}

std::vector<std::string> drive_changes(const Gauge& before, const Gauge& after) {
  if (!before.drive && !after.drive) return {};
  if (!before.drive) return {"the drive is new: " + in_words(*after.drive)};
  if (!after.drive) return {"the drive is gone: rpm are no longer said as speeds"};
  const std::string was = in_words(*before.drive), is = in_words(*after.drive);
  const Tyre &tyre_was = before.drive->tyre, &tyre_is = after.drive->tyre;
  if (was == is && tyre_was.circumference_m.value == tyre_is.circumference_m.value) return {};
  return {"the drive is " + is + ", no longer " + was + anchors_in_speed(before, after)};
}

}  // namespace

bool NumberChange::changed() const {
  if (std::isnan(before) || std::isnan(after)) return std::isnan(before) != std::isnan(after);
  return std::fabs(by()) >= same_within;
}

SettingsChange settings_change(const Gauge& before, const Gauge& after) {
  std::vector<WindowChange> windows = window_changes(before, after);
  std::vector<std::string> buttons = button_changes(before, after, windows);
  return {before.name,
          after.name,
          std::move(windows),
          anchor_changes(before, after),
          number_changes(before, after),
          before.deadband.sits,
          after.deadband.sits,
          lamp_changes(before, after),
          std::move(buttons),
          drive_changes(before, after)};
}

}  // namespace tachproof
