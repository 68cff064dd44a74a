// The lamp test: every window of a gauge in turn, long enough to see its lamps.
// Which input is wired to which lamp colour follows from what each input did in
// which window.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "core/gauge/gauge.h"
#include "core/signal/profile.h"

namespace tachproof {

// Holds the middle of each window, lowest first, and ends below the first
// boundary. `sync`: the action that flashes the bench's lamp for a camera, at the
// beginning, at the end and in between, never twice as long; empty: none.
std::vector<Step> lamp_test_steps(const Gauge& gauge, const std::string& sync = "");

// The gauge as inputs see it whose lamps nobody has named yet: the same
// windows, and for each input a lamp of that name with the colour "lit". What
// shown_cues reads of it has a channel for each input.
Gauge gauge_of_inputs(const Gauge& gauge, std::span<const std::string> inputs);

// Inputs and channels by their numbers.
struct FoundWires {
  struct Wire {
    std::size_t input = 0;
    std::size_t channel = 0;
    bool operator==(const Wire&) const = default;
  };
  // Lamp colours that are always lit together, and the inputs that did as they
  // do: the inputs do not show which is which.
  struct Alike {
    std::vector<std::size_t> inputs, channels;
  };
  bool active_high = true;
  std::vector<Wire> wires;  // by channel
  std::vector<Alike> alike;
  std::vector<std::size_t> missing;    // channels that no input shows
  std::vector<std::size_t> never;      // channels that no window lights
  std::vector<std::size_t> silent;     // inputs that stayed as they were
  std::vector<std::size_t> strangers;  // inputs that changed as no lamp of the gauge does
};
// `shown`: of gauge_of_inputs, window by window; a window that was not read
// counts for nothing. Whether lamps pull their inputs low is decided by what
// more inputs agree with.
FoundWires find_wires(const Gauge& gauge, std::span<const std::optional<Cue>> shown, std::size_t inputs);

}  // namespace tachproof
