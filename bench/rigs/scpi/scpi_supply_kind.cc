#include "bench/rigs/scpi/scpi_supply_kind.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "bench/files/readers.h"
#include "bench/files/yaml_text.h"
#include "bench/rigs/scpi/scpi_supply.h"
#include "core/base/words.h"
#include "core/judge/power_watch.h"

namespace tachproof {
namespace {

PowerSupplySetting read_setting(Mapping& m, ErrorList& errors) {
  PowerSupplySetting supply;
  std::uint64_t baud = supply.baud, channel = supply.channel;
  double lowest = 0, highest = 0;
  m.text("address", supply.address, Need::must);
  m.whole("baud", baud, 300, 4'000'000, Need::may);
  m.whole("channel", channel, 1, 8, Need::may);
  m.volts("volts", supply.volts, Need::must);
  m.number("limit_a", supply.limit_a, Range{0, 50, true}, Need::must);
  if (m.volts("from", lowest, Need::may)) supply.lowest_v = lowest;
  if (m.volts("to", highest, Need::may)) supply.highest_v = highest;
  // It is waited for while the train plays on: no longer than that lasts.
  m.milliseconds("answer_ms", supply.answer, Range{1, 100}, Need::may);
  m.milliseconds("settle_ms", supply.settle, Range{0, 2000}, Need::may);
  m.number("within_v", supply.within_v, Range{0, 2, true}, Need::may);
  m.flag("reset", supply.reset, Need::may);
  supply.baud = static_cast<unsigned>(baud);
  supply.channel = static_cast<unsigned>(channel);
  if (m.has("baud") && !supply.address.starts_with('/'))
    errors.add(m.place("baud"), "a baud rate for '" + on_one_line(supply.address) + "'",
               "only a serial line has one");
  const double from = supply.lowest_v.value_or(0), to = supply.highest_v.value_or(60);
  if (from > to)
    errors.add(m.place("to"), "'to' is below 'from'", "no less than 'from'");
  else if (supply.volts > 0 && (supply.volts < from || supply.volts > to))
    errors.add(m.place("volts"), "'volts' is " + number_text(supply.volts) + " V", "between 'from' and 'to'");
  return supply;
}

class ScpiSupplyKind : public SupplyKind {
 public:
  std::string word() const override { return "scpi"; }
  bool goes_beside(SourceClock clock) const override { return clock != SourceClock::none; }
  std::string needs() const override {
    return "a power supply acts in real time; source must be {kind: board} or {kind: scpi}";
  }

  void read(Mapping& keys, RigFile::SupplyPart& supply, ErrorList& errors) const override {
    supply.scpi = read_setting(keys, errors);
  }
  std::string text(const RigFile::SupplyPart& part) const override {
    const PowerSupplySetting& supply = part.scpi.value();
    const PowerSupplySetting usual;
    std::string text = rig_line("address", yaml_word(supply.address));
    if (supply.baud != usual.baud) text += rig_line("baud", std::to_string(supply.baud));
    if (supply.channel != usual.channel) text += rig_line("channel", std::to_string(supply.channel));
    text += rig_line("volts", rig_number(supply.volts) + "V");
    text += rig_line("limit_a", rig_number(supply.limit_a));
    if (supply.lowest_v) text += rig_line("from", rig_number(*supply.lowest_v) + "V");
    if (supply.highest_v) text += rig_line("to", rig_number(*supply.highest_v) + "V");
    text += rig_line("answer_ms", rig_number(to_ms(supply.answer)), "within which a setting is read back");
    text += rig_line("settle_ms", rig_number(to_ms(supply.settle)), "from then until its output follows");
    if (supply.within_v != usual.within_v) text += rig_line("within_v", rig_number(supply.within_v));
    if (!supply.reset) text += rig_line("reset", "false");
    return text;
  }

  bool can_supply() const override { return true; }
  std::optional<std::string> refuses(const RigFile::SupplyPart& part, const Gauge& gauge,
                                     double volts) const override {
    const PowerSupplySetting& supply = part.scpi.value();
    const auto v = [](double value) { return number_text(value) + " V"; };
    if (!gauge.supply && !supply.highest_v)
      return "neither the gauge's `supply` nor `to` in the rig's says how much the unit stands";
    if (gauge.supply && volts > gauge.supply->highest_v)
      return "the gauge stands at most " + v(gauge.supply->highest_v);
    if (supply.highest_v && volts > *supply.highest_v)
      return "the rig's supply gives at most " + v(*supply.highest_v);
    if (supply.lowest_v && volts < *supply.lowest_v)
      return "the rig's supply goes no lower than " + v(*supply.lowest_v);
    if (gauge.supply && volts < gauge.supply->lowest_v && !supply.lowest_v)
      return "the gauge wants at least " + v(gauge.supply->lowest_v) +
             "; for a dip below that, say in the rig's supply how low it may go: `from`";
    return std::nullopt;
  }
  void check(const RigPlan& plan) const override {
    const RigFile::SupplyPart& part = *plan.rig.supply;
    std::optional<std::string> why = refuses(part, plan.gauge, part.scpi.value().volts);
    if (!why && plan.gauge.supply && part.scpi->volts < plan.gauge.supply->lowest_v)
      why = "the gauge wants at least " + number_text(plan.gauge.supply->lowest_v) + " V";
    if (why)
      throw FileErrors({{plan.file, part.line, part.column,
                         "a supply of " + number_text(part.scpi->volts) + " V; " + *why}});
  }
  SourceTiming states(const RigFile::SupplyPart& supply, const SourceTiming& source,
                      SourceClock clock) const override {
    return with_scpi_supply(supply.scpi.value(), source, clock);
  }
  Rig fed(const RigPlan& plan, Rig rig, SourceClock source) const override {
    const PowerSupplySetting& setting = plan.rig.supply->scpi.value();
    const std::shared_ptr<CommandClock> clock = monotonic_clock();
    const InstrumentAddress address{setting.address, setting.baud};
    auto supply =
        std::make_unique<PowerSupply>(setting, clock, [address] { return open_instrument(address); });
    return with_supply(std::move(rig), setting, std::move(supply), clock, source,
                       PowerWatch::awake_by(plan.gauge, 0));
  }
  std::string cautions() const override {
    return " Fuse the unit's supply, and check voltage and current limit before the unit is connected.";
  }
};

}  // namespace

const SupplyKind& scpi_supply_kind() {
  static const ScpiSupplyKind kind;
  return kind;
}

}  // namespace tachproof
