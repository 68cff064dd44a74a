// Rig files.
//
//     format: 1
//     kind: rig
//     source: {kind: simulated}  or  {kind: board, port: /dev/...}
//     watch:  {kind: simulated, unit: GAUGE_FILE, behaviour: {...}}
//             or  {kind: board, wiring: {lamps: ..., active: high}}
//
// `unit` is the gauge file that the simulated unit really runs, relative to
// the rig file; `behaviour` is optional, see its reader. `port` may be left
// out: the only board that is connected is taken. A wiring in a rig has no
// format, kind or tach.
#include <algorithm>

#include "bench/files/readers.h"

namespace tachproof {
namespace {

const std::vector<std::string> available_kinds{"simulated", "board"};

// A `kind:` that this version cannot serve says so, and is no typing error.
bool read_kind(Mapping& part, const std::vector<std::string>& planned, std::string& kind, ErrorList& errors) {
  const YamlNode* node = part.find("kind");
  if (node != nullptr && std::find(planned.begin(), planned.end(), node->text) != planned.end()) {
    errors.add(node->at, "'" + node->text + "' is not available in this version",
               "allowed: " + joined(available_kinds));
    return false;
  }
  return part.selector("kind", kind, available_kinds);
}

void read_source(const YamlNode& node, RigFile::SourcePart& source, ErrorList& errors) {
  Mapping m(node, errors, "a source");
  source.line = node.at.line;
  source.column = node.at.column;
  if (!read_kind(m, {"scpi"}, source.kind, errors)) return;
  if (source.kind == "board") m.text("port", source.port, Need::may);
  m.finish();
}

// The unit's gauge file, with its own errors under its own name.
void read_unit(Mapping& m, const std::filesystem::path& folder, RigFile::WatchPart& watch,
               ErrorList& errors) {
  std::string name;
  if (!m.text("unit", name, Need::must)) return;
  const std::filesystem::path path = folder / name;
  watch.unit_path = path.string();
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

void read_watch(const YamlNode& node, const std::filesystem::path& folder, RigFile::WatchPart& watch,
                ErrorList& errors) {
  Mapping m(node, errors, "a watch");
  watch.line = node.at.line;
  watch.column = node.at.column;
  if (!read_kind(m, {"gpio", "camera", "recording"}, watch.kind, errors)) return;
  if (watch.kind == "simulated") {
    read_unit(m, folder, watch, errors);
    if (const YamlNode* block = m.any("behaviour", Need::may))
      watch.behaviour = read_behaviour(*block, watch.unit ? &*watch.unit : nullptr, errors);
  } else if (watch.kind == "board") {
    if (const YamlNode* block = m.any("wiring", Need::must)) {
      Mapping wiring(*block, errors, "a wiring");
      if (wiring.sound()) {
        watch.wiring = read_wiring_keys(wiring, false, errors);
        wiring.finish();
      }
    }
  }
  m.finish();
}

}  // namespace

RigFile read_rig(const YamlNode& root, const std::filesystem::path& folder, ErrorList& errors) {
  RigFile rig;
  Mapping file(root, errors, "a rig");
  if (!read_header(file, "rig", errors)) return rig;
  if (const YamlNode* source = file.any("source", Need::must)) read_source(*source, rig.source, errors);
  if (const YamlNode* watch = file.any("watch", Need::must)) read_watch(*watch, folder, rig.watch, errors);
  file.finish();
  return rig;
}

}  // namespace tachproof
