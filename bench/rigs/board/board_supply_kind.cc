#include "bench/rigs/board/board_supply_kind.h"

#include <fmt/format.h>

#include "bench/files/readers.h"

namespace tachproof {
namespace {

class BoardSupplyKind : public SupplyKind {
 public:
  std::string word() const override { return "board"; }
  bool goes_beside(SourceClock clock) const override { return clock == SourceClock::device; }
  std::string needs() const override {
    return "the board's output cuts it in the board's own time; source must be {kind: board}";
  }

  void read(Mapping& keys, RigFile::SupplyPart& supply, ErrorList& errors) const override {
    const YamlNode* block = keys.any("switch_ms", Need::may);
    if (block == nullptr) return;
    Mapping m(*block, errors, "a time to switch");
    const Range range{0, 1000};
    m.milliseconds("from", supply.switch_from, range, Need::must);
    m.milliseconds("to", supply.switch_to, range, Need::must);
    if (supply.switch_from > supply.switch_to)
      errors.add(
          m.place("to"),
          fmt::format("'to' is {} and 'from' is {}", to_ms(supply.switch_to), to_ms(supply.switch_from)),
          "'to' no less than 'from'");
    m.finish();
  }
  std::string text(const RigFile::SupplyPart& supply) const override {
    return rig_line("switch_ms",
                    fmt::format("{{from: {}, to: {}}}", rig_number(to_ms(supply.switch_from)),
                                rig_number(to_ms(supply.switch_to))),
                    "of the relay: see its data sheet");
  }

  SourceTiming states(const RigFile::SupplyPart& supply, const SourceTiming& source,
                      SourceClock) const override {
    SourceTiming both = source;
    both.switch_from = supply.switch_from;
    both.switch_to = supply.switch_to;
    return both;
  }
  std::string cautions() const override {
    return " Fuse the unit's supply, and give the relay's coil its diode: the board drives it by a "
           "transistor.";
  }
};

}  // namespace

const SupplyKind& board_supply_kind() {
  static const BoardSupplyKind kind;
  return kind;
}

}  // namespace tachproof
