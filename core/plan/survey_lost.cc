#include "core/plan/survey_lost.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <functional>
#include <map>
#include <utility>
#include <vector>

#include "core/base/text.h"
#include "core/signal/profile.h"

namespace tachproof {
namespace {

constexpr Nanos apart = 10 * ns_per_ms;  // instants that are looked at
constexpr double explains = 0.97;        // of what could be told
constexpr double better_by = 0.05;       // than the settings as they are
constexpr double fewest = 50;            // instants, of all windows
constexpr double a_blink = 30;           // of one window, to tell a blink
constexpr double as_well = 0.02;         // two explanations that are as good
// Of the tolerance: so far inside its only window a lamp is dark, and not its boundary elsewhere.
constexpr double surely_inside = 16;
// Of the unit's pulses per revolution by the bench's: what is mistaken for one another.
constexpr double ratios[] = {0.25, 1.0 / 3, 0.5, 2.0 / 3, 0.75, 4.0 / 3, 1.5, 2, 3, 4};

// What the lamps showed, and the rpm that the unit may then have gone by.
struct Look {
  Channels lit = 0;
  double lowest_rpm = 0, highest_rpm = 0;
};

std::vector<Look> looks_at(const Gauge& gauge, Channels wired, const SurveyView& view) {
  const std::vector<LampEvent> lamps = shown_lamps(view.events, wired, gauge.tolerance.settle);
  const Profile profile(std::vector<Step>(view.steps.begin(), view.steps.end()));
  const Nanos reach = gauge.tolerance.response_to + gauge.tolerance.settle;
  const auto back = static_cast<std::size_t>(reach / apart) + 1;
  std::vector<double> rpm;
  std::vector<Look> out;
  std::size_t next = 0;
  Channels lit = 0;
  const Nanos end = std::min(view.seen_until, profile.duration());
  for (Nanos at = 0; at < end; at += apart) {
    while (next < lamps.size() && lamps[next].at <= at) lit = lamps[next++].lit;
    rpm.push_back(profile.rpm_at(at));
    if (rpm.size() <= back || at < unit_wakes) continue;
    const auto [low, high] =
        std::minmax_element(rpm.end() - static_cast<std::ptrdiff_t>(back) - 1, rpm.end());
    out.push_back({lit & wired, *low, *high});
  }
  return out;
}

// The one window that the unit must show; nothing where it may show several.
std::optional<std::size_t> window_of(const Gauge& gauge, double lowest, double highest) {
  const double t = gauge.tolerance.rpm;
  std::size_t up = 0, down = 0;
  for (std::size_t b = 1; b <= gauge.boundaries(); ++b) {
    if (lowest > gauge.rising_rpm(b) + t) up = b;
    if (highest >= gauge.falling_rpm(b) - t) down = b;
  }
  return up == down ? std::optional(up) : std::nullopt;
}

// By window, so that one in which the rpm was for long does not outweigh the others.
struct Seen {
  double told = 0, as_demanded = 0, blink_lit = 0;
  bool lit = false, blinks = false;
  double share() const {
    // Of a blink some part is lit, and some is dark.
    const double part = blink_lit / told;
    if (blinks && told >= a_blink && (part < 0.1 || part > 0.9)) return 0;
    return as_demanded / told;
  }
};

struct Match {
  std::map<std::size_t, Seen> by_window;
  double share() const {
    double sum = 0;
    for (const auto& [window, seen] : by_window) sum += seen.share();
    return by_window.empty() ? 0 : sum / static_cast<double>(by_window.size());
  }
  // Else a unit that is always above its last boundary would explain any darkness.
  bool tells() const {
    double told = 0;
    std::size_t lit = 0;
    for (const auto& [window, seen] : by_window) told += seen.told, lit += seen.lit ? 1 : 0;
    return told >= fewest && by_window.size() >= 2 && lit >= 1;
  }
};

// `seen` makes of lit channels what they would be if nothing were wrong; channels
// of `unseen` are not asked for.
Match match(const Gauge& gauge, const std::vector<Look>& all, double ratio, Channels unseen,
            const std::function<Channels(Channels)>& seen) {
  Match out;
  for (const Look& look : all) {
    const auto window = window_of(gauge, look.lowest_rpm / ratio, look.highest_rpm / ratio);
    if (!window) continue;
    const Cue& cue = gauge.windows[*window].cue;
    const Channels counts = ~(unseen | cue.blinking), lit = seen(look.lit);
    Seen& here = out.by_window[*window];
    here.blinks = (cue.blinking & ~unseen) != 0;
    here.lit = here.blinks || (cue.steady & counts) != 0;
    ++here.told;
    if ((lit & counts) == (cue.steady & counts)) ++here.as_demanded;
    if ((lit & cue.blinking & ~unseen) != 0) ++here.blink_lit;
  }
  return out;
}

Channels as_it_is(Channels lit) { return lit; }

// Channels that were never lit where they had to be. Of a lamp that had to be lit in two windows, or far
// inside one; else a boundary may be elsewhere.
Channels dark_of(const Gauge& gauge, const std::vector<Look>& all) {
  Channels ever_lit = 0, asked = 0, sure = 0, told = 0;
  std::array<std::optional<std::size_t>, max_channels> in_window;
  for (const Look& look : all) {
    ever_lit |= look.lit;
    const auto window = window_of(gauge, look.lowest_rpm, look.highest_rpm);
    if (!window) continue;
    const bool last = *window == gauge.boundaries();
    const double above = *window == 0 ? look.lowest_rpm : look.lowest_rpm - gauge.rising_rpm(*window);
    const double inside = last ? above : std::min(above, gauge.falling_rpm(*window + 1) - look.highest_rpm);
    const Channels demanded = gauge.windows[*window].cue.steady | gauge.windows[*window].cue.blinking;
    for (Channels left = demanded; left != 0; left &= left - 1) {
      const auto c = static_cast<std::size_t>(std::countr_zero(left));
      const Channels bit = Channels{1} << c;
      if (in_window[c] && *in_window[c] != *window) sure |= bit;
      if (inside >= surely_inside * gauge.tolerance.rpm) sure |= bit;
      in_window[c] = *window;
      asked |= bit;
    }
  }
  for (std::size_t lamp = 0; lamp < gauge.lamps.size(); ++lamp)
    if ((sure & ~ever_lit & gauge.lamp_channels(lamp)) != 0) told |= gauge.lamp_channels(lamp);
  return asked & told & ~ever_lit;
}

// Each of `a` in place of that of `b`, in their order; `a` lies below `b`.
Channels swapped(Channels lit, Channels a, Channels b) {
  const int up = std::countr_zero(b) - std::countr_zero(a);
  return (lit & ~(a | b)) | ((lit & a) << up) | ((lit & b) >> up);
}

// Two channels, or two lamps with all their colours.
std::vector<std::pair<Channels, Channels>> pairs_of_wires(const Gauge& gauge, Channels wired) {
  std::vector<std::pair<Channels, Channels>> pairs;
  const auto add = [&](Channels a, Channels b) {
    if (((a | b) & ~wired) == 0 && std::popcount(a) == std::popcount(b)) pairs.emplace_back(a, b);
  };
  for (std::size_t i = 0; i < gauge.lamps.size(); ++i)
    for (std::size_t j = i + 1; j < gauge.lamps.size(); ++j)
      add(gauge.lamp_channels(i), gauge.lamp_channels(j));
  for (std::size_t i = 0; i < gauge.channels(); ++i)
    for (std::size_t j = i + 1; j < gauge.channels(); ++j) add(Channels{1} << i, Channels{1} << j);
  return pairs;
}

// "left white", "left", where all its colours are meant.
std::string wires_named(const Gauge& gauge, Channels wires) {
  for (std::size_t lamp = 0; lamp < gauge.lamps.size(); ++lamp)
    if (wires == gauge.lamp_channels(lamp)) return "lamp " + gauge.lamps[lamp].id;
  return gauge.describe(wires);
}

std::string pulses_words(double pulses) {
  const bool is_whole = std::fabs(pulses - std::round(pulses)) < 1e-9;
  return decimal(pulses, is_whole ? 0 : 2);
}

}  // namespace

Likeness likeness_of(const Gauge& gauge, Channels wired, const SurveyView& view) {
  if (view.steps.empty()) return {};
  Gauge seen = gauge;
  for (Window& window : seen.windows) {
    window.cue.steady &= wired;
    window.cue.blinking &= wired;
  }
  const std::vector<Look> all = looks_at(seen, wired, view);
  const Match own = match(seen, all, 1, 0, as_it_is);
  const double as_set = own.tells() ? own.share() : 1;
  std::optional<LostUnit> best;
  double most = std::max(explains, as_set + better_by);
  const auto take = [&](const Match& found, LostUnit::Why why, const std::function<std::string()>& sentence) {
    if (!found.tells() || found.share() < most || (best && found.share() == most)) return;
    most = found.share();
    best = LostUnit{why, sentence()};
  };

  // Several ratios may explain it as well: a quick pass is not everywhere.
  std::vector<std::pair<double, Match>> by_ratio;
  double best_ratio = 0;
  for (const double ratio : ratios) {
    by_ratio.emplace_back(ratio, match(seen, all, ratio, 0, as_it_is));
    if (by_ratio.back().second.tells()) best_ratio = std::max(best_ratio, by_ratio.back().second.share());
  }
  std::string pulses;
  for (const auto& [ratio, found] : by_ratio)
    if (found.tells() && found.share() > best_ratio - as_well)
      pulses += (pulses.empty() ? "" : " or ") + pulses_words(gauge.pulses_per_rev * ratio);
  for (const auto& [ratio, found] : by_ratio)
    take(found, LostUnit::Why::pulses_per_rev, [&] {
      return "the lamps change where a unit set to " + pulses +
             " pulses per revolution changes them, and it should be " + pulses_words(gauge.pulses_per_rev);
    });

  // A lamp is one thing that breaks, whatever its colours; so is one of its colours.
  const Channels dark = dark_of(seen, all);
  Channels dark_lamp = dark;
  if (std::popcount(dark) > 1) {
    dark_lamp = 0;
    for (std::size_t lamp = 0; lamp < gauge.lamps.size(); ++lamp)
      if ((dark & ~gauge.lamp_channels(lamp)) == 0) dark_lamp = dark;
  }
  if (dark_lamp != 0)
    take(match(seen, all, 1, dark_lamp, as_it_is), LostUnit::Why::dark_lamp, [&] {
      return "the unit follows, but " + wires_named(gauge, dark_lamp) + " was never lit where it had to be";
    });

  for (const auto& [a, b] : pairs_of_wires(gauge, wired))
    take(match(seen, all, 1, 0, [a = a, b = b](Channels lit) { return swapped(lit, a, b); }),
         LostUnit::Why::swapped_wires, [&, a = a, b = b] {
           return "the unit follows, but " + wires_named(gauge, a) + " and " + wires_named(gauge, b) +
                  " show what the other should";
         });
  return {as_set, best};
}

}  // namespace tachproof
