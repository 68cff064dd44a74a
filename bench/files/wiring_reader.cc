// Wirings: a block of a rig's `watch`, or a file of its own for recordings.
//
//     format: 1
//     kind: wiring
//     tach: CHANNEL                             needed in a file; none in a rig
//     tach_edge: rising | falling               optional, rising
//     lamps: {LAMP: {COLOUR: CHANNEL, ...}, ...}
//     active: high | low                        optional, high: lit when high
//
// CHANNEL is what the board or the recording calls it, such as in0 or D3; one
// channel shows one thing. Lamps and colours are those of the gauge file; what
// is not wired is not judged.
#include <map>

#include "bench/files/readers.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

class WiringReader {
 public:
  explicit WiringReader(ErrorList& errors) : errors_(errors) {}

  Wiring read(Mapping& block, bool with_tach) {
    wiring_.file = errors_.file();
    if (with_tach) tach(block);
    if (const YamlNode* node = block.any("lamps", Need::must)) lamps(*node);
    std::string active = "high";
    block.choice("active", active, {"high", "low"}, Need::may);
    wiring_.active_high = active == "high";
    return std::move(wiring_);
  }

 private:
  void tach(Mapping& block) {
    std::string edge = "rising";
    if (block.text("tach", wiring_.tach, Need::must)) use(wiring_.tach, block.place("tach"), "tach");
    block.choice("tach_edge", edge, {"rising", "falling"}, Need::may);
    wiring_.tach_rising = edge == "rising";
  }

  void lamps(const YamlNode& node) {
    Mapping all(node, errors_, "lamps");
    if (!all.sound()) return;
    if (node.entries.empty()) errors_.add(node.at, "no lamps", "at least one lamp");
    for (const YamlNode::Entry& lamp : node.entries) {
      const YamlNode* value = all.any(lamp.key->text, Need::must);
      if (value == lamp.value) colours(*lamp.key, *value);  // else repeated: finish says so
    }
    all.finish();
  }

  void colours(const YamlNode& lamp, const YamlNode& node) {
    Mapping all(node, errors_, "a lamp's wires");
    if (!all.sound()) return;
    if (node.entries.empty()) errors_.add(node.at, "no colours", "at least one colour");
    for (const YamlNode::Entry& e : node.entries) {
      std::string channel;
      const YamlNode* value = all.any(e.key->text, Need::must);
      if (value != e.value || !read_text(*value, "a channel", channel, errors_)) continue;
      use(channel, value->at, lamp.text + " " + e.key->text);
      wiring_.wires.push_back(
          {channel, lamp.text, e.key->text, e.key->at.line, e.key->at.column, lamp.at.line, lamp.at.column});
    }
    all.finish();
  }

  void use(const std::string& channel, Place at, const std::string& what) {
    const auto [first, is_new] = used_.try_emplace(channel, what);
    if (!is_new)
      errors_.add(
          at, "channel '" + on_one_line(channel) + "' again, already that of " + on_one_line(first->second),
          "each channel once");
  }

  ErrorList& errors_;
  Wiring wiring_;
  std::map<std::string, std::string> used_;  // channel: what it shows
};

}  // namespace

Wiring read_wiring_keys(Mapping& block, bool with_tach, ErrorList& errors) {
  return WiringReader(errors).read(block, with_tach);
}

Wiring read_wiring(const YamlNode& root, ErrorList& errors) {
  Mapping file(root, errors, "a wiring");
  if (!read_header(file, "wiring", errors)) return {};
  Wiring wiring = read_wiring_keys(file, true, errors);
  file.finish();
  return wiring;
}

std::vector<ResolvedWire> resolve(const Wiring& wiring, const Gauge& gauge) {
  ErrorList errors(wiring.file);
  std::vector<ResolvedWire> resolved;
  std::vector<std::string> ids;
  for (const Lamp& lamp : gauge.lamps) ids.push_back(lamp.id);
  for (const Wiring::Wire& wire : wiring.wires) {
    const Channels channel = gauge.channel(wire.lamp, wire.colour);
    if (channel != 0) {
      resolved.push_back({wire.channel, channel});
      continue;
    }
    const Lamp* lamp = nullptr;
    for (const Lamp& l : gauge.lamps)
      if (l.id == wire.lamp) lamp = &l;
    if (lamp == nullptr)
      unknown_word({wire.lamp_line, wire.lamp_column}, "lamp", wire.lamp, ids, errors);
    else
      unknown_word({wire.line, wire.column}, "colour", wire.colour, lamp->colours, errors);
  }
  errors.throw_if_any();
  return resolved;
}

std::optional<unsigned> board_input(std::string_view channel) {
  if (channel.size() != 3 || !channel.starts_with("in") || channel[2] < '0' || channel[2] > '7')
    return std::nullopt;
  return static_cast<unsigned>(channel[2] - '0');
}

}  // namespace tachproof
