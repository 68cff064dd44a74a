// GPIO lines as a watcher, beside a source that times its commands by the host's
// clock: the kernel stamps edges by that clock too, so run time is one
// subtraction away.
#pragma once

#include <deque>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "bench/rigs/command_clock.h"
#include "bench/rigs/gpio/gpio_lines.h"
#include "bench/rigs/rig.h"

namespace tachproof {

struct GpioSettings {
  std::string chip;  // label, name or device; empty: found by the names of its lines
  GpioBias bias = GpioBias::as_is;
  bool active_high = true;
  std::vector<ResolvedWire> wires;  // channels are line names or numbers
};

class GpioWatcher : public Watcher {
 public:
  // Takes the lines. `zero`: the host's instant 0 of the run, set by the source
  // when it begins. Throws RigError.
  GpioWatcher(const GpioSettings& settings, RunZero zero, std::shared_ptr<CommandClock> clock,
              std::shared_ptr<GpioKernel> kernel);

  WatcherFacts facts() const override;
  void begin() override;
  Seen collect(Nanos until, std::vector<LampEvent>& out) override;
  void end() noexcept override {}

 private:
  struct Line {
    unsigned number = 0;
    Channels lights = 0;
    bool active = false;   // as of the last edge that was taken
    bool certain = false;  // known from an edge, not only from the reading at the beginning
  };
  void drain();
  void take(const GpioEdge& edge);
  Channels lit() const;

  RunZero zero_;
  std::shared_ptr<CommandClock> clock_;
  std::string description_;
  std::vector<Line> lines_;
  std::unique_ptr<GpioLines> watched_;
  std::deque<GpioEdge> edges_;  // read, not handed over
  std::uint32_t sequence_ = 0;  // of the last edge; the kernel's first is 1
  Nanos read_at_ = 0;           // when the begin's reading was made
  std::optional<Channels> shown_;
  std::uint64_t lost_ = 0;
};

}  // namespace tachproof
