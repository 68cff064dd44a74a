#include "core/cause/fault.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <stdexcept>

namespace tachproof {
namespace {

using Kind = Fault::Kind;

struct KindWords {
  Kind kind;
  std::string_view word, unit;
  bool of_settings;  // with_fault knows it
};
constexpr KindWords kind_words[] = {
    {Kind::boundary_moved, "boundary-moved", "rpm", true},
    {Kind::anchor_moved, "anchor-moved", "rpm", true},
    {Kind::count_in_span, "count-in-span", "rpm", true},
    {Kind::count_in_uneven, "count-in-uneven", "rpm", true},
    {Kind::deadband_missing, "deadband-missing", "", true},
    {Kind::deadband_width, "deadband-width", "rpm", true},
    {Kind::deadband_side, "deadband-side", "", true},
    {Kind::over_rev_missing, "over-rev-missing", "", true},
    {Kind::wrong_colour, "wrong-colour", "", true},
    {Kind::cues_swapped, "cues-swapped", "", true},
    {Kind::blink_absent, "blink-absent", "", true},
    {Kind::blink_rate, "blink-rate", "Hz", true},
    {Kind::blink_duty, "blink-duty", "", true},
    {Kind::wrong_pulses_per_rev, "wrong-pulses-per-rev", "", true},
    {Kind::settings_of, "settings-of", "", false},
    {Kind::swapped_lamps, "swapped-lamps", "", true},
    {Kind::wires_swapped, "wires-swapped", "", true},
    {Kind::lamp_dark, "lamp-dark", "", true},
    {Kind::stuck_on, "stuck-on", "", true},
    {Kind::stuck_off, "stuck-off", "", true},
    {Kind::no_power, "no-power", "", true},
    {Kind::no_signal, "no-signal", "", true},
    {Kind::slow_response, "slow-response", "ms", true},
    {Kind::slow_filter, "slow-filter", "ms", true},
    {Kind::dropped_updates, "dropped-updates", "", false},
    {Kind::noisy_reading, "noisy-reading", "rpm", false},
    {Kind::intermittent_lamp, "intermittent-lamp", "a minute", false},
    {Kind::freeze, "freeze", "s", false},
    {Kind::reset, "reset", "s", false},
    {Kind::take_ignored, "take-ignored", "", false},
    {Kind::take_not_refused, "take-not-refused", "", false},
    {Kind::take_other_end, "take-other-end", "", false},
    {Kind::take_late, "take-late", "ms", false},
    {Kind::take_lost, "take-lost", "", false},
    {Kind::settings_reset, "settings-reset", "rpm", false},
    {Kind::peak_not_cleared, "peak-not-cleared", "", false},
    {Kind::dim_missing, "dim-missing", "", false},
    {Kind::dim_colour, "dim-colour", "", false},
    {Kind::slow_boot, "slow-boot", "ms", false},
    {Kind::greets_wrong, "greets-wrong", "", false},
    {Kind::supply_drift, "supply-drift", "rpm/V", false},
    {Kind::brown_out, "brown-out", "V", false},
    {Kind::no_return, "no-return", "", false},
};

const KindWords& words_of(Kind kind) {
  return *std::find_if(std::begin(kind_words), std::end(kind_words),
                       [&](const KindWords& k) { return k.kind == kind; });
}

// A fault's places and size, looked up in the gauge that it is written against.
class Places {
 public:
  Places(const Gauge& gauge, const Fault& fault) : gauge_(gauge), fault_(fault) {}

  double size() const {
    if (!fault_.size || !std::isfinite(*fault_.size)) refuse("needs a size");
    return *fault_.size;
  }
  std::size_t boundary() const { return place(fault_.boundary, 1, gauge_.windows.size(), "boundary"); }
  std::size_t window() const { return place(fault_.window, 0, gauge_.windows.size(), "window"); }
  std::size_t other_window() const { return place(fault_.other_window, 0, gauge_.windows.size(), "window"); }
  std::size_t anchor() const { return place(fault_.anchor, 0, gauge_.anchors.size(), "anchor"); }
  Channels lamp() const { return lamp_channels(fault_.lamp); }
  Channels other_lamp() const { return lamp_channels(fault_.other_lamp); }
  Channels channel() const { return bit(fault_.channel); }
  Channels other_channel() const { return bit(fault_.other_channel); }
  Channels channel_or_lamp() const { return fault_.channel ? channel() : lamp(); }
  Sits side() const {
    if (!fault_.side) refuse("needs a side");
    return *fault_.side;
  }
  [[noreturn]] void refuse(const std::string& why) const {
    throw std::invalid_argument("The fault '" + std::string(word(fault_.kind)) + "' " + why + ".");
  }

 private:
  std::size_t place(const std::optional<std::size_t>& at, std::size_t first, std::size_t end,
                    const std::string& what) const {
    if (!at) refuse("needs a place: " + what);
    if (*at < first || *at >= end) refuse("names a place that the gauge does not have: " + what);
    return *at;
  }
  Channels bit(const std::optional<std::size_t>& at) const {
    return Channels{1} << place(at, 0, std::min(gauge_.channels(), max_channels), "colour of a lamp");
  }
  Channels lamp_channels(const std::optional<std::size_t>& at) const {
    return gauge_.lamp_channels(place(at, 0, gauge_.lamps.size(), "lamp"));
  }

  const Gauge& gauge_;
  const Fault& fault_;
};

template <typename Change>  // Channels -> Channels
void change_cues(Gauge& gauge, const Change& change) {
  for (Window& w : gauge.windows) w.cue = {change(w.cue.steady), change(w.cue.blinking)};
  if (!gauge.power_up || !gauge.power_up->greets) return;
  Cue& greeting = gauge.power_up->greets->cue;
  greeting = {change(greeting.steady), change(greeting.blinking)};
}

// ---- thresholds ------------------------------------------------------------------

void move_anchor(Gauge& g, const Places& at) {
  auto& [name, rpm] = g.anchors[at.anchor()];
  for (std::size_t b = 1; b < g.windows.size(); ++b)
    if (g.windows[b].anchor == name) g.windows[b].from_rpm += at.size();
  rpm += at.size();
}

void stretch_count_in(Gauge& g, const Fault& fault, const Places& at) {
  const std::size_t first = at.boundary();
  const std::optional<std::size_t> end = count_in_end(g, fault);
  if (!end || *end <= first || *end >= g.windows.size()) at.refuse("needs the first boundary of a count-in");
  const double ends_at = g.windows[*end].from_rpm, span = ends_at - g.windows[first].from_rpm;
  for (std::size_t b = first; b < *end; ++b)
    g.windows[b].from_rpm = ends_at - (ends_at - g.windows[b].from_rpm) * (span + at.size()) / span;
}

void count_other_pulses(Gauge& g, const Places& at) {
  if (!(at.size() > 0)) at.refuse("needs a size above 0");
  const double scale = at.size() / g.pulses_per_rev;
  for (Window& w : g.windows) w.from_rpm *= scale;
  g.deadband.rpm *= scale;
  for (Button& button : g.buttons)
    if (auto* take = std::get_if<TakeRpm>(&button.does))
      take->lowest_rpm *= scale, take->highest_rpm *= scale;
}

// A window that is gone has no boundary that a button could move.
void drop_lost_buttons(Gauge& g) {
  std::erase_if(g.buttons, [&](const Button& button) {
    const auto* take = std::get_if<TakeRpm>(&button.does);
    return take != nullptr && take->boundary >= g.windows.size();
  });
}

void move_responses(Gauge& g, const Places& at) {
  const Nanos half = (g.tolerance.response_to - g.tolerance.response_from) / 2;
  const auto middle = static_cast<Nanos>(std::llround(at.size() * 1e6));
  g.tolerance.response_from = std::max<Nanos>(0, middle - half);
  g.tolerance.response_to = middle + half;
}

// ---- cues ------------------------------------------------------------------------

void show_wrong_colour(Gauge& g, const Fault& fault, const Places& at) {
  const Channels right = at.channel(), wrong = at.other_channel();
  const auto put = [&](Channels lit) { return (lit & right) != 0 ? (lit & ~right) | wrong : lit; };
  if (!fault.window) return change_cues(g, put);
  Cue& cue = g.windows[at.window()].cue;
  cue = {put(cue.steady), put(cue.blinking)};
}

void drop_blink(Gauge& g, const Fault& fault, const Places& at) {
  for (std::size_t i = 0; i < g.windows.size(); ++i) {
    if (fault.window && i != at.window()) continue;
    Cue& cue = g.windows[i].cue;
    cue.steady |= cue.blinking;
    cue.blinking = 0;
  }
}

Blink& blink_of(Gauge& g, const Places& at) {
  if (!g.blink) at.refuse("needs a gauge that blinks");
  return *g.blink;
}

void swap_lamps(Gauge& g, const Places& at) {
  const Channels a = at.lamp(), b = at.other_lamp();
  const int first_a = std::countr_zero(a), first_b = std::countr_zero(b);
  change_cues(g, [&](Channels lit) {
    const Channels to_b = (((lit & a) >> first_a) << first_b) & b;
    const Channels to_a = (((lit & b) >> first_b) << first_a) & a;
    return (lit & ~(a | b)) | to_a | to_b;
  });
}

void swap_wires(Gauge& g, const Places& at) {
  const Channels a = at.channel(), b = at.other_channel();
  change_cues(g, [&](Channels lit) {
    return (lit & ~(a | b)) | ((lit & a) != 0 ? b : 0) | ((lit & b) != 0 ? a : 0);
  });
}

void darken(Gauge& g, Channels dark) {
  change_cues(g, [&](Channels lit) { return lit & ~dark; });
}

void light(Gauge& g, Channels stuck) {
  darken(g, stuck);
  for (Window& w : g.windows) w.cue.steady |= stuck;
  if (g.power_up && g.power_up->greets) g.power_up->greets->cue.steady |= stuck;
}

void change(Gauge& g, const Fault& fault, const Places& at) {
  switch (fault.kind) {
    case Kind::boundary_moved:
    case Kind::count_in_uneven: g.windows[at.boundary()].from_rpm += at.size(); return;
    case Kind::anchor_moved: return move_anchor(g, at);
    case Kind::count_in_span: return stretch_count_in(g, fault, at);
    case Kind::deadband_missing: g.deadband.rpm = 0; return;
    case Kind::deadband_width: g.deadband.rpm = at.size(); return;
    case Kind::deadband_side: g.deadband.sits = at.side(); return;
    case Kind::over_rev_missing:
      if (g.boundaries() == 0) at.refuse("needs a gauge with more than one window");
      g.windows.pop_back();
      return drop_lost_buttons(g);
    case Kind::wrong_colour: return show_wrong_colour(g, fault, at);
    case Kind::cues_swapped: return std::swap(g.windows[at.window()].cue, g.windows[at.other_window()].cue);
    case Kind::blink_absent: return drop_blink(g, fault, at);
    case Kind::blink_rate: blink_of(g, at).hz = at.size(); return;
    case Kind::blink_duty: blink_of(g, at).duty = at.size(); return;
    case Kind::wrong_pulses_per_rev: return count_other_pulses(g, at);
    case Kind::swapped_lamps: return swap_lamps(g, at);
    case Kind::wires_swapped: return swap_wires(g, at);
    case Kind::lamp_dark:
    case Kind::stuck_off: return darken(g, at.channel_or_lamp());
    case Kind::stuck_on: return light(g, at.channel());
    case Kind::no_power: return darken(g, g.all_channels());
    case Kind::no_signal: g.windows.resize(1); return drop_lost_buttons(g);
    case Kind::slow_response:
    case Kind::slow_filter: return move_responses(g, at);
    case Kind::settings_of:
    case Kind::dropped_updates:
    case Kind::noisy_reading:
    case Kind::intermittent_lamp:
    case Kind::freeze:
    case Kind::reset:
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
    case Kind::no_return: at.refuse("is no change of settings");
  }
}

}  // namespace

bool is_of_buttons(Fault::Kind kind) { return kind >= Kind::take_ignored; }

std::string_view word(Fault::Kind kind) { return words_of(kind).word; }
std::string_view unit_of(Fault::Kind kind) { return words_of(kind).unit; }
bool is_change_of_settings(Fault::Kind kind) { return words_of(kind).of_settings; }

std::optional<Fault::Kind> fault_kind_named(std::string_view word) {
  for (const KindWords& k : kind_words)
    if (k.word == word) return k.kind;
  return std::nullopt;
}

std::vector<Fault::Kind> all_fault_kinds() {
  std::vector<Fault::Kind> all;
  for (const KindWords& k : kind_words) all.push_back(k.kind);
  return all;
}

Gauge with_fault(const Gauge& gauge, const Fault& fault) {
  Gauge changed = gauge;
  change(changed, fault, Places(gauge, fault));
  return changed;
}

std::optional<std::size_t> count_in_end(const Gauge& gauge, const Fault& fault) {
  if (fault.window) return *fault.window;
  for (const auto& [first, end] : count_ins(gauge))
    if (first == fault.boundary) return end;
  return std::nullopt;
}

std::vector<std::pair<std::size_t, std::size_t>> count_ins(const Gauge& gauge) {
  std::vector<std::pair<std::size_t, std::size_t>> found;
  const auto counts_in = [&](std::size_t w) { return gauge.windows[w].name.starts_with("count-in-"); };
  for (std::size_t w = 1; w < gauge.windows.size(); ++w) {
    if (!counts_in(w)) continue;
    std::size_t end = w + 1;
    while (end < gauge.windows.size() && counts_in(end) &&
           gauge.windows[end].anchor == gauge.windows[w].anchor)
      ++end;
    found.emplace_back(w, end);
    w = end - 1;
  }
  return found;
}

}  // namespace tachproof
