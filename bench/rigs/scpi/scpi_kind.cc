#include "bench/rigs/scpi/scpi_kind.h"

#include <fmt/format.h>

#include <utility>

#include "bench/files/readers.h"
#include "bench/files/yaml_text.h"
#include "bench/rigs/scpi/scpi_source.h"

namespace tachproof {
namespace {

ScpiSetting read_scpi(Mapping& m, ErrorList& errors) {
  ScpiSetting scpi;
  std::uint64_t baud = scpi.baud, channel = scpi.channel;
  m.text("address", scpi.address, Need::must);
  m.whole("baud", baud, 300, 4'000'000, Need::may);
  m.whole("channel", channel, 1, 8, Need::may);
  m.number("amplitude_v", scpi.amplitude_v, Range{0, 40, true}, Need::must);
  m.number("offset_v", scpi.offset_v, Range{-20, 20}, Need::must);
  m.number("load_ohm", scpi.load_ohm, Range{0, 1e6}, Need::may);
  // Together they stay well under how far a train is handed out ahead.
  m.milliseconds("answer_ms", scpi.answer, Range{1, 50}, Need::may);
  m.milliseconds("settle_ms", scpi.settle, Range{0, 100}, Need::may);
  m.number("within_rpm", scpi.within_rpm, Range{0, 100, true}, Need::may);
  m.number("resolution_hz", scpi.resolution_hz, Range{0, 1, true}, Need::may);
  m.number("clock_ppm", scpi.clock_ppm, Range{0, most_clock_ppm, true}, Need::may);
  m.flag("reset", scpi.reset, Need::may);
  scpi.baud = static_cast<unsigned>(baud);
  scpi.channel = static_cast<unsigned>(channel);
  if (m.has("baud") && !scpi.address.starts_with('/'))
    errors.add(m.place("baud"), "a baud rate for '" + on_one_line(scpi.address) + "'",
               "only a serial line has one");
  return scpi;
}

std::string rig_ms(Nanos value) { return rig_number(to_ms(value)); }

std::string scpi_text(const ScpiSetting& scpi) {
  const ScpiSetting usual;
  std::string text = rig_line("address", yaml_word(scpi.address));
  if (scpi.baud != usual.baud) text += rig_line("baud", std::to_string(scpi.baud));
  if (scpi.channel != usual.channel) text += rig_line("channel", std::to_string(scpi.channel));
  text += rig_line("amplitude_v", rig_number(scpi.amplitude_v),
                   fmt::format("peak to peak; with the offset, from {:g} V to {:g} V",
                               scpi.offset_v - scpi.amplitude_v / 2, scpi.offset_v + scpi.amplitude_v / 2));
  text += rig_line("offset_v", rig_number(scpi.offset_v));
  if (scpi.load_ohm)
    text += rig_line("load_ohm", rig_number(*scpi.load_ohm),
                     *scpi.load_ohm == 0 ? "a high impedance" : "what the voltages are meant into");
  else
    text += "  # load_ohm: 0 # a high impedance; not said: left as the generator has it\n";
  text += rig_line("answer_ms", rig_ms(scpi.answer), "within which a change is read back");
  text += rig_line("settle_ms", rig_ms(scpi.settle),
                   "from then until the output follows; see the generator's manual");
  if (scpi.within_rpm != usual.within_rpm) text += rig_line("within_rpm", rig_number(scpi.within_rpm));
  if (scpi.resolution_hz != usual.resolution_hz)
    text += rig_line("resolution_hz", rig_number(scpi.resolution_hz));
  if (scpi.clock_ppm != usual.clock_ppm) text += rig_line("clock_ppm", rig_number(scpi.clock_ppm));
  if (!scpi.reset) text += rig_line("reset", "false");
  return text;
}

class ScpiSourceKind : public SourceKind {
 public:
  std::string word() const override { return "scpi"; }
  std::string about() const override { return "a signal generator"; }
  SourceClock clock() const override { return SourceClock::host; }

  void read(Mapping& keys, RigFile::SourcePart& source, ErrorList& errors) const override {
    source.scpi = read_scpi(keys, errors);
  }
  std::string text(const RigFile::SourcePart& source) const override {
    return source.scpi ? scpi_text(*source.scpi) : "";
  }

  Rig make(const RigPlan& plan, const WatchKind& watch) const override {
    const ScpiSetting& setting = plan.rig.source.scpi.value();
    const std::shared_ptr<CommandClock> clock = monotonic_clock();
    const auto zero = std::make_shared<std::optional<Nanos>>();
    std::unique_ptr<ScpiSource> source;
    const auto open = [&] {
      const InstrumentAddress address{setting.address, setting.baud};
      auto generator =
          std::make_unique<Instrument>(setting, clock, [address] { return open_instrument(address); });
      source =
          std::make_unique<ScpiSource>(setting, plan.gauge.pulses_per_rev, clock, std::move(generator), zero);
      return HostBench::Played{source->wire(), [at = source.get()] { return at->attend(); }};
    };
    std::unique_ptr<Watcher> watcher = watch.by_host_clock(plan, {clock, zero, open});
    if (!source) open();
    return paced_by(std::move(source), std::move(watcher));
  }
  std::string own_watch() const override { return "simulated"; }

  std::optional<std::string> cannot_play(const PlayRequest& request) const override {
    return no_even_wave(request);
  }
  bool can_press(const RigFile::SourcePart&, const std::string&) const override { return false; }
  std::string how_to_press(const std::string&) const override {
    return "a signal generator has no wire to a button";
  }
  std::string needs() const override {
    return "; a signal generator (scpi) is watched by gpio or a camera, or plays to a simulated unit";
  }
  SourceTiming states(const RigFile::SourcePart& source, double pulses_per_rev) const override {
    SourceTiming timing;
    if (!source.scpi) return timing;
    timing.clock_ppm = source.scpi->clock_ppm;
    timing.lag = source_lag(stepped_timing(*source.scpi));
    timing.rpm = frequency_bound_rpm(*source.scpi, pulses_per_rev);
    return timing;
  }
  std::string cautions() const override {
    return " Check amplitude, offset and load with an oscilloscope before the unit is connected: its maker's "
           "manual says what its input stands.";
  }
};

}  // namespace

const SourceKind& scpi_source_kind() {
  static const ScpiSourceKind kind;
  return kind;
}

}  // namespace tachproof
