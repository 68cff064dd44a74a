#include "core/compare/cue_states.h"

namespace tachproof {

CueStates states_of(const Gauge& gauge, const Cue& cue) {
  CueStates states;
  for (std::size_t c = 0; c < gauge.channels(); ++c)
    if (((cue.steady | cue.blinking) >> c) & 1)
      states[gauge.channel_name(c)] = ((cue.blinking >> c) & 1) ? "blinking" : "lit";
  return states;
}

CueStates changes(const CueStates& before, const CueStates& after) {
  CueStates changed;
  for (const auto& [channel, state] : after) {
    const auto was = before.find(channel);
    if (was == before.end() || was->second != state) changed[channel] = state;
  }
  for (const auto& [channel, state] : before)
    if (!after.contains(channel)) changed[channel] = "dark";
  return changed;
}

std::string listed(const CueStates& states) {
  std::string text;
  for (const auto& [channel, state] : states) text += (text.empty() ? "" : ", ") + channel + " " + state;
  return text.empty() ? "nothing" : text;
}

}  // namespace tachproof
