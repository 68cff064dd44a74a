#include "bench/files/rig_writer.h"

#include <fmt/format.h>

#include <stdexcept>

#include "bench/files/rig_kinds.h"
#include "bench/files/yaml_text.h"

namespace tachproof {
namespace {

template <class Format, class Part>
std::string part_text(const std::vector<const Format*>& formats, const Part& part) {
  const Format* format = find_kind(formats, part.kind);
  if (format == nullptr) throw std::logic_error("a rig file of kind '" + part.kind + "' was to be written");
  return rig_line("kind", part.kind) + format->text(part);
}

}  // namespace

std::string SourceFormat::text(const RigFile::SourcePart&) const { return {}; }

std::string rig_line(const std::string& key, const std::string& value, const std::string& comment) {
  return fmt::format("  {}: {}{}{}\n", key, value, comment.empty() ? "" : " # ", comment);
}

std::string rig_number(double value) { return fmt::format("{}", value); }

std::string rig_wiring_text(const Wiring& wiring) {
  std::string lamps, open_lamp;
  for (const Wiring::Wire& wire : wiring.wires) {
    if (lamps.empty() || wire.lamp != open_lamp)
      lamps += (lamps.empty() ? "      " : "}\n      ") + yaml_word(wire.lamp) + ": {";
    else
      lamps += ", ";
    lamps += yaml_word(wire.colour) + ": " + yaml_word(wire.channel);
    open_lamp = wire.lamp;
  }
  return "  wiring:\n    lamps:\n" + lamps + "}\n    active: " + (wiring.active_high ? "high" : "low") + "\n";
}

bool watches_software(const std::string& word) {
  const WatchFormat* kind = find_kind(watch_formats(), word);
  return kind != nullptr && kind->watches_software();
}

std::string rig_yaml(const RigFile& rig, const std::string& heading) {
  const std::string supply =
      rig.supply ? "supply:\n" + part_text(supply_formats(), *rig.supply) : std::string();
  return "# " + heading + "\nformat: 1\nkind: rig\nsource:\n" + part_text(source_formats(), rig.source) +
         "watch:\n" + part_text(watch_formats(), rig.watch) + supply;
}

}  // namespace tachproof
