// Rig files.
//
//     format: 1
//     kind: rig
//     source: {kind: KIND, ...}
//     watch:  {kind: KIND, ...}
//     supply: {kind: KIND, ...}   optional
//
// Each kind reads its own keys: see bench/rigs/*/*_kind.cc.
#include <algorithm>

#include "bench/files/readers.h"
#include "bench/files/rig_alone.h"
#include "bench/files/rig_kinds.h"

namespace tachproof {
namespace {

// Null where there is no such kind, which `errors` then says. A kind that this version cannot serve says so,
// and is no typing error.
template <class Format>
const Format* read_kind(Mapping& part, const std::vector<const Format*>& formats,
                        const std::vector<std::string>& planned, std::string& kind, ErrorList& errors) {
  std::vector<std::string> available;
  for (const Format* format : formats) available.push_back(format->word());
  const YamlNode* node = part.find("kind");
  if (node != nullptr && std::find(planned.begin(), planned.end(), node->text) != planned.end()) {
    errors.add(node->at, "'" + node->text + "' is not available in this version",
               "allowed: " + joined(available));
    return nullptr;
  }
  return part.selector("kind", kind, available) ? find_kind(formats, kind) : nullptr;
}

// One part of a rig; `read` gets its kind and its keys.
template <class Format, class Part, class Read>
void read_part(const YamlNode& node, const char* what, const std::vector<const Format*>& formats,
               const std::vector<std::string>& planned, Part& part, ErrorList& errors, Read read) {
  Mapping m(node, errors, what);
  part.line = node.at.line;
  part.column = node.at.column;
  const Format* kind = read_kind(m, formats, planned, part.kind, errors);
  if (kind == nullptr) return;
  read(*kind, m);
  m.finish();
}

RigFile read_whole(const YamlNode& root, const std::filesystem::path& folder, ErrorList& errors,
                   bool load_unit) {
  RigFile rig;
  Mapping file(root, errors, "a rig");
  if (!read_header(file, "rig", errors)) return rig;
  if (const YamlNode* source = file.any("source", Need::must))
    read_part(*source, "a source", source_formats(), {}, rig.source, errors,
              [&](const SourceFormat& kind, Mapping& keys) { kind.read(keys, rig.source, errors); });
  if (const YamlNode* watch = file.any("watch", Need::must))
    read_part(*watch, "a watch", watch_formats(), {"recording"}, rig.watch, errors,
              [&](const WatchFormat& kind, Mapping& keys) {
                kind.read(keys, {folder, load_unit}, rig.watch, errors);
              });
  if (const YamlNode* supply = file.any("supply", Need::may)) {
    rig.supply = RigFile::SupplyPart{};
    read_part(*supply, "a supply", supply_formats(), {}, *rig.supply, errors,
              [&](const SupplyFormat& kind, Mapping& keys) { kind.read(keys, *rig.supply, errors); });
  }
  file.finish();
  return rig;
}

}  // namespace

void SourceFormat::read(Mapping&, RigFile::SourcePart&, ErrorList&) const {}

std::optional<Wiring> read_rig_wiring(Mapping& watch, ErrorList& errors) {
  const YamlNode* block = watch.any("wiring", Need::must);
  if (block == nullptr) return std::nullopt;
  Mapping keys(*block, errors, "a wiring");
  if (!keys.sound()) return std::nullopt;
  Wiring wiring = read_wiring_keys(keys, false, errors);
  keys.finish();
  return wiring;
}

RigFile read_rig(const YamlNode& root, const std::filesystem::path& folder, ErrorList& errors) {
  return read_whole(root, folder, errors, true);
}

RigFile read_rig_alone(const YamlNode& root, const std::filesystem::path& folder, ErrorList& errors) {
  return read_whole(root, folder, errors, false);
}

}  // namespace tachproof
