#include "core/gauge/gauge.h"

#include <bit>
#include <cmath>

#include "core/gauge/window_ladder.h"

namespace tachproof {

std::string_view word(Sits sits) {
  switch (sits) {
    case Sits::below: return "below";
    case Sits::centred: return "centred";
    case Sits::above: return "above";
  }
  return "below";
}

std::string_view words_of(Sits sits) {
  switch (sits) {
    case Sits::below: return "below the boundary";
    case Sits::centred: return "centred on the boundary";
    case Sits::above: return "above the boundary";
  }
  return "below the boundary";
}

std::optional<Sits> sits_named(std::string_view name) {
  for (const Sits sits : {Sits::below, Sits::centred, Sits::above})
    if (name == word(sits)) return sits;
  return std::nullopt;
}

double Gauge::rising_rpm(std::size_t boundary) const {
  const Window& window = windows.at(boundary);
  if (window.turns_at) return window.turns_at->first;
  const double at = window.from_rpm;
  switch (deadband.sits) {
    case Sits::below: return at;
    case Sits::centred: return at + deadband.rpm / 2;
    case Sits::above: return at + deadband.rpm;
  }
  return at;
}

double Gauge::falling_rpm(std::size_t boundary) const {
  const Window& window = windows.at(boundary);
  return window.turns_at ? window.turns_at->second : rising_rpm(boundary) - deadband.rpm;
}

std::size_t Gauge::channels() const {
  std::size_t n = 0;
  for (const Lamp& lamp : lamps) n += lamp.colours.size();
  return n;
}

Channels Gauge::all_channels() const {
  const std::size_t n = channels();
  return n >= max_channels ? ~Channels{0} : (Channels{1} << n) - 1;
}

Channels Gauge::channel(std::string_view lamp_id, std::string_view colour_name) const {
  std::size_t bit = 0;
  for (const Lamp& lamp : lamps)
    for (const std::string& colour : lamp.colours) {
      if (lamp.id == lamp_id && colour == colour_name) return Channels{1} << bit;
      ++bit;
    }
  return 0;
}

Channels Gauge::lamp_channels(std::size_t lamp) const {
  std::size_t first = 0;
  for (std::size_t i = 0; i < lamp; ++i) first += lamps.at(i).colours.size();
  const std::size_t n = lamps.at(lamp).colours.size();
  const Channels block = n >= max_channels ? ~Channels{0} : (Channels{1} << n) - 1;
  return block << first;
}

std::string Gauge::channel_name(std::size_t index) const {
  for (const Lamp& lamp : lamps) {
    if (index < lamp.colours.size()) return lamp.id + " " + lamp.colours[index];
    index -= lamp.colours.size();
  }
  return "?";
}

std::string Gauge::describe(const Cue& cue) const {
  std::string text;
  for (Channels left = cue.steady | cue.blinking; left != 0; left &= left - 1) {
    const auto bit = static_cast<std::size_t>(std::countr_zero(left));
    if (!text.empty()) text += ", ";
    text += channel_name(bit);
    if ((cue.blinking >> bit) & 1) text += " blinking";
  }
  return text.empty() ? "dark" : text;
}

std::string Gauge::describe(Channels lit) const { return describe(Cue{lit, 0}); }

namespace {

const double* rpm_of_anchor(const Gauge& gauge, std::string_view name) {
  for (const auto& [known, rpm] : gauge.anchors)
    if (known == name) return &rpm;
  return nullptr;
}

bool comes_from(const Gauge& gauge, const Speed& speed, double rpm) {
  return gauge.drive && gauge.resolution_rpm > 0 &&
         std::fabs(set_rpm(speed.m_per_s, *gauge.drive, gauge.resolution_rpm) - rpm) < 1e-6;
}

}  // namespace

const Speed* Gauge::speed_of_anchor(std::string_view anchor) const {
  for (const auto& [known, speed] : anchor_speeds) {
    if (known != anchor) continue;
    const double* rpm = rpm_of_anchor(*this, anchor);
    return rpm != nullptr && comes_from(*this, speed, *rpm) ? &speed : nullptr;
  }
  return nullptr;
}

const Speed* Gauge::speed_of_window(std::size_t window) const {
  const Window& w = windows.at(window);
  if (!w.from_speed) return nullptr;
  const double* anchor_rpm = rpm_of_anchor(*this, w.anchor);
  if (anchor_rpm == nullptr && !w.anchor.empty()) return nullptr;
  const double from = w.from_rpm - (anchor_rpm != nullptr ? *anchor_rpm : 0);
  return comes_from(*this, *w.from_speed, from) ? &*w.from_speed : nullptr;
}

std::size_t next_window(const Gauge& gauge, std::size_t from, double rpm) {
  return window_after(
      gauge.windows.size(), from, rpm, [&](std::size_t b) { return gauge.rising_rpm(b); },
      [&](std::size_t b) { return gauge.falling_rpm(b); });
}

}  // namespace tachproof
