#include "core/plan/survey_lost.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <functional>
#include <utility>
#include <vector>

#include "core/base/text.h"
#include "core/signal/profile.h"

namespace tachproof {
namespace {

constexpr Nanos apart = 10 * ns_per_ms;  // instants that are looked at
constexpr double explains = 0.97;        // of what could be told
constexpr double better_by = 0.05;       // than the settings as they are
constexpr double fewest = 50;            // instants
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

struct Match {
  double told = 0, as_demanded = 0;
  double share() const { return told > 0 ? as_demanded / told : 0; }
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
    const Channels counts = ~(unseen | cue.blinking);
    ++out.told;
    if ((seen(look.lit) & counts) == (cue.steady & counts)) ++out.as_demanded;
  }
  return out;
}

Channels as_it_is(Channels lit) { return lit; }

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

std::optional<LostUnit> lost_unit(const Gauge& gauge, Channels wired, const SurveyView& view) {
  if (view.steps.empty()) return std::nullopt;
  Gauge seen = gauge;
  for (Window& window : seen.windows) {
    window.cue.steady &= wired;
    window.cue.blinking &= wired;
  }
  const std::vector<Look> all = looks_at(seen, wired, view);
  const double as_set = match(seen, all, 1, 0, as_it_is).share();
  std::optional<LostUnit> best;
  double most = std::max(explains, as_set + better_by);
  const auto take = [&](const Match& found, LostUnit::Why why, const std::function<std::string()>& sentence) {
    if (found.told < fewest || found.share() < most || (best && found.share() == most)) return;
    most = found.share();
    best = LostUnit{why, sentence()};
  };

  for (const double ratio : ratios)
    take(match(seen, all, ratio, 0, as_it_is), LostUnit::Why::pulses_per_rev, [&] {
      return "the lamps change where a unit set to " + pulses_words(gauge.pulses_per_rev * ratio) +
             " pulses per revolution changes them, and it should be " + pulses_words(gauge.pulses_per_rev);
    });

  Channels ever_lit = 0, demanded = 0;
  for (const Look& look : all) {
    ever_lit |= look.lit;
    if (const auto window = window_of(seen, look.lowest_rpm, look.highest_rpm))
      demanded |= seen.windows[*window].cue.steady | seen.windows[*window].cue.blinking;
  }
  // A lamp is one thing that breaks, whatever its colours; so is one of its colours.
  const Channels dark = demanded & ~ever_lit;
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
  return best;
}

}  // namespace tachproof
