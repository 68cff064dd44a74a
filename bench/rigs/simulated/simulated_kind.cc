#include "bench/rigs/simulated/simulated_kind.h"

#include <string_view>

#include "bench/files/readers.h"
#include "bench/files/yaml_text.h"
#include "bench/rigs/simulated/simulated_rig.h"

namespace tachproof {
namespace {

constexpr std::string_view gauge_under_test = "gauge-under-test";

// The unit's gauge file, with its own errors under its own name.
void read_unit(Mapping& m, const RigReading& reading, RigFile::WatchPart& watch, ErrorList& errors) {
  std::string name;
  if (!m.text("unit", name, Need::must) || name == gauge_under_test) return;
  const std::filesystem::path path = reading.folder / name;
  watch.unit_path = path.string();
  if (!reading.load_unit) return;
  try {
    watch.unit = load_gauge(path);
  } catch (const FileErrors& e) {
    const FileError& first = e.errors.front();
    if (first.line > 0)
      errors.add_other(e.errors);
    else
      errors.add(m.place("unit"),
                 "'" + on_one_line(name) + "': " + first.message.substr(0, first.message.find("; ")),
                 "a gauge file, relative to the rig file");
  }
}

class SimulatedSourceKind : public SourceKind {
 public:
  std::string word() const override { return "simulated"; }
  std::string about() const override { return "software: to a simulated unit, or for a clip"; }
  SourceClock clock() const override { return SourceClock::none; }
  Rig make(const RigPlan& plan, const WatchKind& watch) const override { return watch.in_virtual_time(plan); }
  std::string own_watch() const override { return word(); }
  bool can_press(const RigFile::SourcePart&, const std::string&) const override { return true; }
  bool can_power(const RigFile::SourcePart&) const override { return true; }
  bool can_supply(const RigFile::SourcePart&) const override { return true; }
};

class SimulatedWatchKind : public WatchKind {
 public:
  std::string word() const override { return "simulated"; }
  std::string about() const override { return "a unit in software: a rehearsal"; }
  bool goes_beside(SourceClock clock) const override { return clock != SourceClock::device; }
  bool watches_software() const override { return true; }

  void read(Mapping& keys, const RigReading& reading, RigFile::WatchPart& watch,
            ErrorList& errors) const override {
    read_unit(keys, reading, watch, errors);
    if (const YamlNode* block = keys.any("behaviour", Need::may))
      watch.behaviour = read_behaviour(*block, watch.unit ? &*watch.unit : nullptr, errors);
  }
  std::string text(const RigFile::WatchPart& watch) const override {
    return rig_line("unit",
                    watch.unit_path.empty() ? std::string(gauge_under_test) : yaml_word(watch.unit_path),
                    "the gauge file that it really runs") +
           "  # behaviour: {response_ms: 25, faults: []} # how it differs from a sound unit\n";
  }

  WatcherTiming states(const RigFile&, SourceClock, const WatcherTiming&) const override { return {}; }
  Channels watched(const RigPlan& plan) const override {
    return in_virtual_time(plan).watcher->facts().wired;
  }
  std::unique_ptr<Watcher> by_host_clock(const RigPlan& plan, const HostBench& bench) const override {
    const RigFile::WatchPart& watch = plan.rig.watch;
    return simulated_watcher(bench.open().wire, watch.unit.value_or(plan.gauge), watch.behaviour, plan.gauge,
                             plan.seed);
  }
  Rig in_virtual_time(const RigPlan& plan) const override {
    const RigFile::WatchPart& watch = plan.rig.watch;
    return simulated_rig(watch.unit.value_or(plan.gauge), watch.behaviour, plan.gauge, plan.seed);
  }
};

}  // namespace

const SourceKind& simulated_source_kind() {
  static const SimulatedSourceKind kind;
  return kind;
}

const WatchKind& simulated_watch_kind() {
  static const SimulatedWatchKind kind;
  return kind;
}

}  // namespace tachproof
