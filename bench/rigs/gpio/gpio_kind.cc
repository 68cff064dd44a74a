#include "bench/rigs/gpio/gpio_kind.h"

#include <map>

#include "bench/files/yaml_text.h"
#include "bench/rigs/gpio/gpio_watcher.h"

namespace tachproof {
namespace {

const std::map<std::string, GpioBias>& biases() {
  static const std::map<std::string, GpioBias> all{{"as-is", GpioBias::as_is},
                                                   {"off", GpioBias::off},
                                                   {"pull-up", GpioBias::pull_up},
                                                   {"pull-down", GpioBias::pull_down}};
  return all;
}

class GpioWatchKind : public WatchKind {
 public:
  std::string word() const override { return "gpio"; }
  std::string about() const override { return "lines of this computer's GPIO chip, wired to the lamps"; }
  bool goes_beside(SourceClock clock) const override { return clock == SourceClock::host; }
  std::string needs() const override {
    return "; a signal generator (scpi) is watched by gpio or a camera, or plays to a simulated unit";
  }

  void read(Mapping& keys, const RigReading&, RigFile::WatchPart& watch, ErrorList& errors) const override {
    keys.text("chip", watch.chip, Need::may);
    keys.choice("bias", watch.bias, {"as-is", "off", "pull-up", "pull-down"}, Need::may);
    watch.wiring = read_rig_wiring(keys, errors);
  }
  std::string text(const RigFile::WatchPart& watch) const override {
    return (watch.chip.empty() ? "" : rig_line("chip", yaml_word(watch.chip))) +
           rig_line("bias", watch.bias, "as-is, off, pull-up or pull-down") +
           (watch.wiring ? rig_wiring_text(*watch.wiring) : "");
  }

  // The lines are taken before the generator is touched.
  std::unique_ptr<Watcher> by_host_clock(const RigPlan& plan, const HostBench& bench) const override {
    const RigFile::WatchPart& watch = plan.rig.watch;
    const GpioSettings settings{watch.chip, biases().at(watch.bias), watch.wiring->active_high,
                                resolve(*watch.wiring, plan.gauge)};
    return std::make_unique<GpioWatcher>(settings, bench.zero, bench.clock, linux_gpio());
  }

  std::string wired_to() const override { return "line"; }
  WatcherTiming states(const RigFile& rig, SourceClock beside, const WatcherTiming& stated) const override {
    WatcherTiming due = WatchKind::states(rig, beside, stated);
    due.resolution = 1;
    due.time_by = TimeRelation::host_clock;
    return due;
  }
  std::string place(const RigFile& rig) const override {
    return rig.watch.chip.empty() ? "the GPIO chip" : "the GPIO chip " + rig.watch.chip;
  }
  std::string cautions() const override {
    return " GPIO lines stand 3.3 V at most: take lamps through a level shifter or optocouplers.";
  }
};

}  // namespace

const WatchKind& gpio_watch_kind() {
  static const GpioWatchKind kind;
  return kind;
}

}  // namespace tachproof
