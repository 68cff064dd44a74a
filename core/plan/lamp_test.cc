#include "core/plan/lamp_test.h"

#include <algorithm>
#include <map>

namespace tachproof {
namespace {

// What one lamp does, window by window. `unread` where nobody looked.
enum class State : char { dark, lit, blinking, unread };
using Pattern = std::vector<State>;

State state_of(const Cue& cue, std::size_t channel) {
  if (((cue.blinking >> channel) & 1) != 0) return State::blinking;
  return ((cue.steady >> channel) & 1) != 0 ? State::lit : State::dark;
}

State inverted(State state) {
  if (state == State::lit) return State::dark;
  return state == State::dark ? State::lit : state;
}

bool changes(const Pattern& pattern) {
  std::optional<State> first;
  for (const State state : pattern) {
    if (state == State::blinking) return true;
    if (state == State::unread) continue;
    if (!first) first = state;
    if (state != *first) return true;
  }
  return false;
}

FoundWires match(const std::vector<Pattern>& channels, const std::vector<Pattern>& inputs, bool active_high) {
  FoundWires found;
  found.active_high = active_high;
  std::map<Pattern, FoundWires::Alike> groups;
  for (std::size_t c = 0; c < channels.size(); ++c) {
    if (changes(channels[c]))
      groups[channels[c]].channels.push_back(c);
    else
      found.never.push_back(c);
  }
  for (std::size_t i = 0; i < inputs.size(); ++i) {
    const auto group = groups.find(inputs[i]);
    if (!changes(inputs[i]))
      found.silent.push_back(i);
    else if (group == groups.end())
      found.strangers.push_back(i);
    else
      group->second.inputs.push_back(i);
  }
  for (auto& [pattern, group] : groups) {
    if (group.inputs.empty())
      found.missing.insert(found.missing.end(), group.channels.begin(), group.channels.end());
    else if (group.inputs.size() == 1 && group.channels.size() == 1)
      found.wires.push_back({group.inputs[0], group.channels[0]});
    else
      found.alike.push_back(std::move(group));
  }
  std::sort(found.wires.begin(), found.wires.end(),
            [](const FoundWires::Wire& a, const FoundWires::Wire& b) { return a.channel < b.channel; });
  std::sort(found.missing.begin(), found.missing.end());
  return found;
}

std::size_t explained(const FoundWires& found) {
  std::size_t inputs = found.wires.size();
  for (const FoundWires::Alike& group : found.alike) inputs += group.inputs.size();
  return inputs;
}

constexpr Nanos first_flash = 300 * ns_per_ms, longer_flash = 100 * ns_per_ms, after_flash = 700 * ns_per_ms;
constexpr Nanos longest_unflashed = 8 * ns_per_s;

}  // namespace

std::vector<Step> lamp_test_steps(const Gauge& gauge, const std::string& sync) {
  const Tolerance& t = gauge.tolerance;
  const Nanos steady = t.response_to + t.settle + 500 * ns_per_ms;
  const double bottom = gauge.boundaries() > 0 ? gauge.falling_rpm(1) / 2 : 0;
  std::vector<Step> steps;
  Nanos unflashed = 0, flash_lasts = first_flash;
  const auto flash = [&] {
    if (sync.empty()) return;
    const double rpm = std::get<Hold>(steps.back()).rpm;
    steps.push_back(Press{sync, flash_lasts});
    steps.push_back(Hold{rpm, after_flash});
    flash_lasts += longer_flash;
    unflashed = 0;
  };
  for (std::size_t w = 0; w < gauge.windows.size(); ++w) {
    double rpm = bottom;
    if (w > 0 && w < gauge.boundaries())
      rpm = (gauge.rising_rpm(w) + gauge.falling_rpm(w + 1)) / 2;
    else if (w > 0)
      rpm = gauge.rising_rpm(w) + std::max(100.0, 10 * t.rpm);
    Nanos lasts = steady;
    if (gauge.windows[w].cue.blinking != 0 && gauge.blink) lasts += from_seconds(4 / gauge.blink->hz);
    steps.push_back(Hold{rpm, lasts});
    unflashed += lasts;
    if (w == 0 || unflashed > longest_unflashed) flash();
  }
  steps.push_back(Hold{bottom, steady});
  flash();
  return steps;
}

Gauge gauge_of_inputs(const Gauge& gauge, std::span<const std::string> inputs) {
  Gauge seen = gauge;
  seen.lamps.clear();
  for (const std::string& input : inputs) seen.lamps.push_back({input, {"lit"}});
  // Which lamps a window lights is not known, only how long it must be watched.
  for (Window& window : seen.windows) window.cue = {0, window.cue.blinking != 0 ? Channels{1} : 0};
  return seen;
}

FoundWires find_wires(const Gauge& gauge, std::span<const std::optional<Cue>> shown, std::size_t inputs) {
  const std::size_t windows = std::min(shown.size(), gauge.windows.size());
  const auto read = [&](std::size_t w) { return shown[w].has_value(); };
  std::vector<Pattern> channels(gauge.channels()), high(inputs), low(inputs);
  for (std::size_t w = 0; w < windows; ++w) {
    for (std::size_t c = 0; c < channels.size(); ++c)
      channels[c].push_back(read(w) ? state_of(gauge.windows[w].cue, c) : State::unread);
    for (std::size_t i = 0; i < inputs; ++i) {
      const State state = read(w) ? state_of(*shown[w], i) : State::unread;
      high[i].push_back(state);
      low[i].push_back(inverted(state));
    }
  }
  FoundWires found = match(channels, high, true);
  FoundWires other = match(channels, low, false);
  return explained(other) > explained(found) ? other : found;
}

}  // namespace tachproof
