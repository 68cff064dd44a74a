#include "core/cause/other_gauges.h"

#include <algorithm>
#include <optional>

namespace tachproof {
namespace {

constexpr std::size_t most_others = 60, most_telling = 5;
constexpr double same_rpm = 1e-6;

// The other gauge's windows in the channels of this one; nothing where it has other lamps.
std::optional<Gauge> in_our_channels(const Gauge& gauge, const Gauge& other) {
  const auto moved = [&](Channels set) -> std::optional<Channels> {
    Channels out = 0;
    for (const Lamp& lamp : other.lamps)
      for (const std::string& colour : lamp.colours) {
        if ((other.channel(lamp.id, colour) & set) == 0) continue;
        const Channels bit = gauge.channel(lamp.id, colour);
        if (bit == 0) return std::nullopt;
        out |= bit;
      }
    return out;
  };
  Gauge acts = other;
  acts.lamps = gauge.lamps;
  // What is allowed is the gauge's under test.
  acts.tolerance = gauge.tolerance;
  for (Window& window : acts.windows) {
    const std::optional<Channels> steady = moved(window.cue.steady), blinking = moved(window.cue.blinking);
    if (!steady || !blinking) return std::nullopt;
    window.cue = {*steady, *blinking};
  }
  // It counts pulses by its own settings.
  const double scale = other.pulses_per_rev / gauge.pulses_per_rev;
  for (Window& window : acts.windows) window.from_rpm *= scale;
  acts.deadband.rpm *= scale;
  acts.pulses_per_rev = gauge.pulses_per_rev;
  return acts;
}

struct Acting {
  std::size_t place = 0;
  Hypothesis hypothesis;
};

std::vector<Acting> acting_others(const Court& court, const std::vector<OtherGauge>& others) {
  std::vector<Acting> all;
  for (std::size_t i = 0; i < others.size() && all.size() < most_others; ++i) {
    const std::optional<Gauge> acts = in_our_channels(court.gauge(), others[i].gauge);
    if (!acts || same_behaviour(*acts, court.gauge(), same_rpm)) continue;
    Fault fault;
    fault.kind = Fault::Kind::settings_of;
    fault.file = others[i].file;
    fault.accepted = others[i].accepted;
    Hypothesis one;
    one.gauge = *acts;
    one.faults = {fault};
    one.u = {not_measured};
    all.push_back({i, std::move(one)});
  }
  return all;
}

}  // namespace

std::vector<Hypothesis> hypotheses_of(const Court& court, const std::vector<OtherGauge>& others) {
  std::vector<Hypothesis> all;
  for (Acting& one : acting_others(court, others)) all.push_back(std::move(one.hypothesis));
  return all;
}

std::vector<std::size_t> telling_gauges(Court& court, const std::vector<OtherGauge>& others) {
  std::vector<Acting> telling;
  std::optional<std::size_t> nearest;
  std::uint64_t least = (court.findings() + 1) / 2;
  for (Acting& one : acting_others(court, others)) {
    const Trial trial = court.judge(one.hypothesis);
    if (trial.left < least) nearest = one.place, least = trial.left;
    const auto same = [&](const Acting& other) {
      return same_behaviour(other.hypothesis.gauge, one.hypothesis.gauge, same_rpm);
    };
    if (trial.explains_all() && telling.size() < most_telling &&
        std::none_of(telling.begin(), telling.end(), same))
      telling.push_back(std::move(one));
  }
  std::vector<std::size_t> places;
  for (const Acting& one : telling) places.push_back(one.place);
  if (places.empty() && nearest) places.push_back(*nearest);
  return places;
}

}  // namespace tachproof
