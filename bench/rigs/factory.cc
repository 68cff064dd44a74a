#include "bench/rigs/factory.h"

#include <stdexcept>
#include <utility>

#include "bench/rigs/board/board_kind.h"
#include "bench/rigs/board/board_supply_kind.h"
#include "bench/rigs/camera/camera_kind.h"
#include "bench/rigs/gpio/gpio_kind.h"
#include "bench/rigs/scpi/scpi_kind.h"
#include "bench/rigs/scpi/scpi_supply_kind.h"
#include "bench/rigs/simulated/simulated_kind.h"
#include "core/base/words.h"

namespace tachproof {

const std::vector<const SourceKind*>& source_kinds() {
  static const std::vector<const SourceKind*> kinds{
      &simulated_source_kind(),
      &board_source_kind(),
      &scpi_source_kind(),
  };
  return kinds;
}

const std::vector<const WatchKind*>& watch_kinds() {
  static const std::vector<const WatchKind*> kinds{
      &simulated_watch_kind(),
      &board_watch_kind(),
      &gpio_watch_kind(),
      &camera_watch_kind(),
  };
  return kinds;
}

const std::vector<const SupplyKind*>& supply_kinds() {
  static const std::vector<const SupplyKind*> kinds{
      &board_supply_kind(),
      &scpi_supply_kind(),
  };
  return kinds;
}

const std::vector<const SourceFormat*>& source_formats() {
  static const std::vector<const SourceFormat*> formats(source_kinds().begin(), source_kinds().end());
  return formats;
}

const std::vector<const WatchFormat*>& watch_formats() {
  static const std::vector<const WatchFormat*> formats(watch_kinds().begin(), watch_kinds().end());
  return formats;
}

const std::vector<const SupplyFormat*>& supply_formats() {
  static const std::vector<const SupplyFormat*> formats(supply_kinds().begin(), supply_kinds().end());
  return formats;
}

namespace {

template <class Kind>
const Kind& known(const Kind* kind, const std::string& word) {
  if (kind == nullptr) throw std::logic_error("there is no kind '" + word + "' of a rig's parts");
  return *kind;
}

// What a person who wrote this pair may have wanted.
std::string mixed_kinds(const SourceKind& source, const WatchKind& watch) {
  const bool of_source = source.clock() == SourceClock::host || watch.needs().empty();
  return "a '" + watch.word() + "' watch beside a '" + source.word() + "' source" +
         (of_source ? source.needs() : watch.needs());
}

}  // namespace

const SourceKind& kind_of(const RigFile::SourcePart& source) {
  return known(find_kind(source_kinds(), source.kind), source.kind);
}

const WatchKind& kind_of(const RigFile::WatchPart& watch) {
  return known(find_kind(watch_kinds(), watch.kind), watch.kind);
}

const SupplyKind& kind_of(const RigFile::SupplyPart& supply) {
  return known(find_kind(supply_kinds(), supply.kind), supply.kind);
}

bool source_is_software(const std::string& word) {
  const SourceKind* kind = find_kind(source_kinds(), word);
  return kind != nullptr && kind->is_software();
}

const CameraSettings* filmed_by(const RigFile& rig) {
  return kind_of(rig.watch).films() ? &rig.watch.camera : nullptr;
}

RigFile rig_of_clip(const CameraSettings& camera) {
  RigFile rig;
  rig.source.kind = simulated_source_kind().word();
  rig.watch.kind = camera_watch_kind().word();
  rig.watch.camera = camera;
  return rig;
}

RigFile unwatched(const RigFile& rig) {
  RigFile alone = rig;
  alone.watch = {};
  alone.watch.line = rig.watch.line;
  alone.watch.column = rig.watch.column;
  alone.watch.kind = kind_of(rig.source).own_watch();
  return alone;
}

void refuse_mixed_kinds(const RigFile& rig, const std::string& file) {
  const SourceKind& source = kind_of(rig.source);
  const WatchKind& watch = kind_of(rig.watch);
  if (!watch.goes_beside(source.clock()))
    throw FileErrors({{file, rig.watch.line, rig.watch.column, mixed_kinds(source, watch)}});
  if (!rig.supply) return;
  const SupplyKind& supply = kind_of(*rig.supply);
  if (!supply.goes_beside(source.clock()))
    throw FileErrors(
        {{file, rig.supply->line, rig.supply->column,
          "a '" + supply.word() + "' supply beside a '" + source.word() + "' source; " + supply.needs()}});
}

Rig make_rig(const RigFile& rig, const std::string& file, const Gauge& gauge, std::uint64_t seed) {
  refuse_mixed_kinds(rig, file);
  const RigPlan plan{rig, file, gauge, seed};
  if (rig.supply) kind_of(*rig.supply).check(plan);
  try {
    Rig made = kind_of(rig.source).make(plan, kind_of(rig.watch));
    return rig.supply ? kind_of(*rig.supply).fed(plan, std::move(made), kind_of(rig.source).clock())
                      : std::move(made);
  } catch (const std::invalid_argument& e) {
    refuse_watch(plan, e.what());
  }
}

Channels watched_by(const RigFile& rig, const std::string& file, const Gauge& gauge) {
  refuse_mixed_kinds(rig, file);
  const RigPlan plan{rig, file, gauge, 0};
  if (rig.supply) kind_of(*rig.supply).check(plan);
  try {
    return kind_of(rig.watch).watched(plan);
  } catch (const std::invalid_argument& e) {
    refuse_watch(plan, e.what());
  }
}

std::optional<std::string> cannot_play(const RigFile& rig, const PlayRequest& request) {
  return kind_of(rig.source).cannot_play(request);
}

bool can_press(const RigFile& rig, const std::string& action) {
  return kind_of(rig.source).can_press(rig.source, action);
}
bool can_power(const RigFile& rig) {
  return rig.supply.has_value() || kind_of(rig.source).can_power(rig.source);
}
bool can_supply(const RigFile& rig) {
  return rig.supply ? kind_of(*rig.supply).can_supply() : kind_of(rig.source).can_supply(rig.source);
}

std::vector<FileError> refused_supply(const RigFile& rig, const Gauge& gauge, const ScenarioFile& scenario,
                                      const std::string& scenario_file) {
  std::vector<FileError> errors;
  if (!rig.supply) return errors;
  for (const SupplyPlace& place : scenario.supplied)
    for (const double volts : {place.lowest_v, place.highest_v})
      if (const auto why = kind_of(*rig.supply).refuses(*rig.supply, gauge, volts)) {
        errors.push_back(
            {scenario_file, place.line, place.column, "a supply of " + number_text(volts) + " V; " + *why});
        break;
      }
  return errors;
}

SourceTiming source_states(const RigFile& rig, double pulses_per_rev) {
  const SourceTiming source = kind_of(rig.source).states(rig.source, pulses_per_rev);
  return rig.supply ? kind_of(*rig.supply).states(*rig.supply, source, kind_of(rig.source).clock()) : source;
}

}  // namespace tachproof
