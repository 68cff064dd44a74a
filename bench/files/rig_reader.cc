// Rig files.
//
//     format: 1
//     kind: rig
//     source: {kind: simulated}
//             or  {kind: board, port: /dev/..., buttons: {ACTION: press-1}, clock: {...}}
//             or  {kind: scpi, address: HOST:PORT, amplitude_v: 5, offset_v: 2.5, ...}
//     watch:  {kind: simulated, unit: GAUGE_FILE, behaviour: {...}}
//             or  {kind: board, wiring: {lamps: ..., active: high}}
//             or  {kind: gpio, chip: pinctrl-bcm2711, wiring: {lamps: ..., active: high}}
//             or  {kind: camera, clip: FILE_OR_FOLDER, regions: FILE}
//                  or device: /dev/... for clip; sync, fps, exposure_ms, readout_ms, gain,
//                  stamp_delay_ms: {from: N, to: N}
//
// `unit` is the gauge file that the simulated unit really runs, relative to
// the rig file, or `gauge-under-test`: whatever gauge it is judged as. `behaviour` is optional, see its
// reader. `port` may be left out: the only board that is connected is taken. `buttons` says which of the
// board's outputs performs which action of a scenario. `clock` is what
// `tachproof calibrate` found, for the one board that `port` names:
//
//     clock: {fast_ppm: 12.3, uncertainty_ppm: 5.8, calibrated: 2031-03-14}
//
// A wiring in a rig has no format, kind or tach.
#include <algorithm>

#include "bench/files/readers.h"
#include "bench/files/rig_alone.h"

namespace tachproof {
namespace {

const std::vector<std::string> source_kinds{"simulated", "board", "scpi"};
const std::vector<std::string> watch_kinds{"simulated", "board", "gpio", "camera"};
constexpr std::string_view gauge_under_test = "gauge-under-test";

// A `kind:` that this version cannot serve says so, and is no typing error.
bool read_kind(Mapping& part, const std::vector<std::string>& available,
               const std::vector<std::string>& planned, std::string& kind, ErrorList& errors) {
  const YamlNode* node = part.find("kind");
  if (node != nullptr && std::find(planned.begin(), planned.end(), node->text) != planned.end()) {
    errors.add(node->at, "'" + node->text + "' is not available in this version",
               "allowed: " + joined(available));
    return false;
  }
  return part.selector("kind", kind, available);
}

void read_buttons(const YamlNode& node, std::map<std::string, std::string>& buttons, ErrorList& errors) {
  static const std::vector<std::string> outputs{"press-1", "press-2"};
  Mapping m(node, errors, "buttons");
  if (!m.sound()) return;
  if (node.entries.empty()) errors.add(node.at, "no buttons", "at least one action and its output");
  std::map<std::string, std::string> used;
  for (const YamlNode::Entry& entry : node.entries) {
    const std::string& action = entry.key->text;
    std::string output;
    if (!m.choice(action, output, outputs, Need::must)) continue;
    const auto [first, is_new] = used.try_emplace(output, action);
    if (!is_new && first->second != action)
      errors.add(entry.value->at,
                 "output '" + output + "' again, already that of " + on_one_line(first->second),
                 "each output once");
    buttons[action] = output;
  }
  m.finish();
}

void check_inputs(const Wiring& wiring, ErrorList& errors) {
  for (const Wiring::Wire& wire : wiring.wires)
    if (!board_input(wire.channel))
      errors.add({wire.line, wire.column}, "the board's input '" + on_one_line(wire.channel) + "'",
                 "in0 to in7");
}

bool is_date(const std::string& text) {
  if (text.size() != 10) return false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const bool dash = i == 4 || i == 7;
    if (dash ? text[i] != '-' : text[i] < '0' || text[i] > '9') return false;
  }
  return true;
}

ClockSetting read_clock(const YamlNode& node, ErrorList& errors) {
  ClockSetting clock;
  Mapping m(node, errors, "a clock");
  if (!m.sound()) return clock;
  m.number("fast_ppm", clock.fast_ppm, Range{-most_clock_ppm, most_clock_ppm}, Need::must);
  m.number("uncertainty_ppm", clock.uncertainty_ppm, Range{0, most_clock_ppm, true}, Need::must);
  if (m.text("calibrated", clock.calibrated, Need::must) && !is_date(clock.calibrated))
    errors.add(m.place("calibrated"), "'calibrated' is '" + on_one_line(clock.calibrated) + "'",
               "a date such as 2031-03-14");
  m.finish();
  return clock;
}

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

void read_source(const YamlNode& node, RigFile::SourcePart& source, ErrorList& errors) {
  Mapping m(node, errors, "a source");
  source.line = node.at.line;
  source.column = node.at.column;
  if (!read_kind(m, source_kinds, {}, source.kind, errors)) return;
  if (source.kind == "board") {
    m.text("port", source.port, Need::may);
    if (const YamlNode* block = m.any("buttons", Need::may)) read_buttons(*block, source.buttons, errors);
    if (const YamlNode* block = m.any("clock", Need::may)) {
      source.clock = read_clock(*block, errors);
      if (!m.has("port"))
        errors.add(block->at, "a clock without a port", "'port' beside it: a clock belongs to one board");
    }
  } else if (source.kind == "scpi") {
    source.scpi = read_scpi(m, errors);
  }
  m.finish();
}

// The unit's gauge file, with its own errors under its own name.
void read_unit(Mapping& m, const std::filesystem::path& folder, RigFile::WatchPart& watch, ErrorList& errors,
               bool load_unit) {
  std::string name;
  if (!m.text("unit", name, Need::must) || name == gauge_under_test) return;
  const std::filesystem::path path = folder / name;
  watch.unit_path = path.string();
  if (!load_unit) return;
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

// The regions are read when the rig is made: a rig may be checked before it is taught.
CameraSettings read_camera(Mapping& m, const std::filesystem::path& folder, ErrorList& errors) {
  CameraSettings camera;
  std::string clip, device, regions;
  m.text("clip", clip, Need::may);
  m.text("device", device, Need::may);
  if (m.has("clip") == m.has("device"))
    errors.add(m.at(), m.has("clip") ? "a clip and a device" : "neither a clip nor a device",
               "one of the two");
  camera.live = m.has("device");
  camera.from = camera.live ? device : (folder / clip).string();
  if (m.text("regions", regions, Need::must)) camera.regions = (folder / regions).string();
  m.text("sync", camera.sync, Need::may);
  m.number("fps", camera.fps, Range{1, 1000}, Need::may);
  m.number("exposure_ms", camera.exposure_ms, Range{0, 1000, true}, Need::may);
  m.number("readout_ms", camera.readout_ms, Range{0, 1000}, Need::may);
  m.number("gain", camera.gain, Range{0, 10'000}, Need::may);
  if (const YamlNode* block = m.any("stamp_delay_ms", Need::may)) {
    camera.stamp_delay.emplace();
    Mapping delay(*block, errors, "a stamp's delay");
    delay.milliseconds("from", camera.stamp_delay->from, Range{-1000, 1000}, Need::must);
    delay.milliseconds("to", camera.stamp_delay->to, Range{-1000, 1000}, Need::must);
    delay.finish();
    if (camera.stamp_delay->from > camera.stamp_delay->to)
      errors.add(block->at, "'from' is above 'to'", "from the least to the most");
    if (!camera.live)
      errors.add(block->at, "'stamp_delay_ms' of a clip",
                 "leave it out: only a device's frames are stamped by the host");
  }
  return camera;
}

void read_watch(const YamlNode& node, const std::filesystem::path& folder, RigFile::WatchPart& watch,
                ErrorList& errors, bool load_unit) {
  Mapping m(node, errors, "a watch");
  watch.line = node.at.line;
  watch.column = node.at.column;
  if (!read_kind(m, watch_kinds, {"recording"}, watch.kind, errors)) return;
  if (watch.kind == "simulated") {
    read_unit(m, folder, watch, errors, load_unit);
    if (const YamlNode* block = m.any("behaviour", Need::may))
      watch.behaviour = read_behaviour(*block, watch.unit ? &*watch.unit : nullptr, errors);
  } else if (watch.kind == "camera") {
    watch.camera = read_camera(m, folder, errors);
  } else {
    if (watch.kind == "gpio") {
      m.text("chip", watch.chip, Need::may);
      m.choice("bias", watch.bias, {"as-is", "off", "pull-up", "pull-down"}, Need::may);
    }
    if (const YamlNode* block = m.any("wiring", Need::must)) {
      Mapping wiring(*block, errors, "a wiring");
      if (wiring.sound()) {
        watch.wiring = read_wiring_keys(wiring, false, errors);
        wiring.finish();
        if (watch.kind == "board") check_inputs(*watch.wiring, errors);
      }
    }
  }
  m.finish();
}

RigFile read_whole(const YamlNode& root, const std::filesystem::path& folder, ErrorList& errors,
                   bool load_unit) {
  RigFile rig;
  Mapping file(root, errors, "a rig");
  if (!read_header(file, "rig", errors)) return rig;
  if (const YamlNode* source = file.any("source", Need::must)) read_source(*source, rig.source, errors);
  if (const YamlNode* watch = file.any("watch", Need::must))
    read_watch(*watch, folder, rig.watch, errors, load_unit);
  file.finish();
  return rig;
}

}  // namespace

RigFile read_rig(const YamlNode& root, const std::filesystem::path& folder, ErrorList& errors) {
  return read_whole(root, folder, errors, true);
}

RigFile read_rig_alone(const YamlNode& root, const std::filesystem::path& folder, ErrorList& errors) {
  return read_whole(root, folder, errors, false);
}

}  // namespace tachproof
