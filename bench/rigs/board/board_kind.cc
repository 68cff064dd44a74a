#include "bench/rigs/board/board_kind.h"

#include <algorithm>

#include "bench/files/dates.h"
#include "bench/files/readers.h"
#include "bench/files/yaml_text.h"
#include "bench/rigs/board/board.h"
#include "bench/rigs/board/board_supply_kind.h"
#include "bench/rigs/ports.h"

namespace tachproof {
namespace {

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

// What the board's outputs perform, press-1 and press-2.
std::vector<std::string> actions_of(const RigFile::SourcePart& board) {
  std::vector<std::string> actions = BoardSettings().actions;
  if (!board.buttons.empty()) actions = {"", ""};
  for (const auto& [action, output] : board.buttons) actions[output == "press-2"] = action;
  return actions;
}

Rig open_board(const RigPlan& plan) {
  BoardSettings settings;
  if (const std::optional<Wiring>& wiring = plan.rig.watch.wiring) {
    settings.wires = resolve(*wiring, plan.gauge);
    settings.active_high = wiring->active_high;
  }
  const RigFile::SourcePart& source = plan.rig.source;
  settings.port = source.port.empty() ? only_port_present() : source.port;
  if (source.clock) settings.clock = *source.clock;
  settings.actions = actions_of(source);
  if (const auto& supply = plan.rig.supply; supply && supply->kind == board_supply_kind().word())
    settings.supply = {supply->switch_from, supply->switch_to};
  return board_rig(settings);
}

class BoardSourceKind : public SourceKind {
 public:
  std::string word() const override { return "board"; }
  std::string about() const override { return "the bench's own board"; }
  SourceClock clock() const override { return SourceClock::device; }
  bool can_calibrate() const override { return true; }

  void read(Mapping& keys, RigFile::SourcePart& source, ErrorList& errors) const override {
    keys.text("port", source.port, Need::may);
    if (const YamlNode* block = keys.any("buttons", Need::may)) read_buttons(*block, source.buttons, errors);
    if (const YamlNode* block = keys.any("clock", Need::may)) {
      source.clock = read_clock(*block, errors);
      if (!keys.has("port"))
        errors.add(block->at, "a clock without a port", "'port' beside it: a clock belongs to one board");
    }
  }

  std::string text(const RigFile::SourcePart& board) const override {
    std::string text, buttons;
    if (!board.port.empty()) text += rig_line("port", yaml_word(board.port));
    for (const auto& [action, output] : board.buttons)
      buttons += (buttons.empty() ? "" : ", ") + yaml_word(action) + ": " + output;
    return text + (buttons.empty() ? "  # buttons: {capture: press-1} # which output presses what\n"
                                   : rig_line("buttons", "{" + buttons + "}"));
  }

  Rig make(const RigPlan& plan, const WatchKind& watch) const override {
    return watch.beside_own_clock(plan, [&] { return open_board(plan); });
  }
  std::string own_watch() const override { return word(); }

  bool can_press(const RigFile::SourcePart& source, const std::string& action) const override {
    const std::vector<std::string> actions = actions_of(source);
    return std::find(actions.begin(), actions.end(), action) != actions.end();
  }
  std::string needs() const override {
    return ": the board plays to a real unit, and only the board's own inputs see what it does; watch must "
           "be {kind: board, wiring: ...}";
  }
  SourceTiming states(const RigFile::SourcePart& source, double) const override {
    SourceTiming timing;
    timing.tick = board_tick();
    timing.clock_ppm = source.clock ? source.clock->uncertainty_ppm : crystal_ppm;
    return timing;
  }
};

class BoardWatchKind : public WatchKind {
 public:
  std::string word() const override { return "board"; }
  std::string about() const override { return "its own inputs, wired to the lamps"; }
  bool goes_beside(SourceClock clock) const override { return clock == SourceClock::device; }
  std::string needs() const override {
    return ": the board stamps lamps by the clock of its own run, so it must play the pulses too; source "
           "must be {kind: board}";
  }

  void read(Mapping& keys, const RigReading&, RigFile::WatchPart& watch, ErrorList& errors) const override {
    watch.wiring = read_rig_wiring(keys, errors);
    if (!watch.wiring) return;
    for (const Wiring::Wire& wire : watch.wiring->wires)
      if (!board_input(wire.channel))
        errors.add({wire.line, wire.column}, "the board's input '" + on_one_line(wire.channel) + "'",
                   "in0 to in7");
  }
  std::string text(const RigFile::WatchPart& watch) const override {
    return watch.wiring ? rig_wiring_text(*watch.wiring) : "";
  }

  Rig beside_own_clock(const RigPlan&, const OpenOwnRig& open) const override { return open(); }
  std::string place(const RigFile& rig) const override { return "the board on " + rig.source.port; }
  WatcherTiming states(const RigFile& rig, SourceClock beside, const WatcherTiming& stated) const override {
    WatcherTiming due = WatchKind::states(rig, beside, stated);
    due.resolution = board_tick();
    return due;
  }
};

}  // namespace

const SourceKind& board_source_kind() {
  static const BoardSourceKind kind;
  return kind;
}

const WatchKind& board_watch_kind() {
  static const BoardWatchKind kind;
  return kind;
}

}  // namespace tachproof
