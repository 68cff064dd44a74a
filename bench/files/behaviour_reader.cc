// `behaviour:` of a simulated unit; every key is optional.
//
//     response_ms        switching delay of the lamps
//     averaging_pulses   the rpm is an average over this many pulses ...
//     averaging_ms       ... or over this time; not both
//     update_hz          how often the lamps are reconsidered; 0: at each pulse
//     resolution_rpm     the rpm is rounded to this; 0: not at all
//     timer_hz           of the period measurement
//     signal_lost_ms     after the last pulse, until the lowest window shows
//     boot_ms            dark after power-up
//     lowest_v           the unit is off when it is fed less
//     holds_ms           a dip under lowest_v this short is ridden through
//     dim, dim_hz        PWM: lit share (above 0, at most 1) and frequency
//     faults             [{kind: boundary-moved, boundary: on-limit, by_rpm: 5}, ...]
//
// What each kind of fault takes is in the catalogue, bench/rigs/simulated/faults.cc.
// Words that name a boundary, window, lamp or colour must be the unit's.
#include <algorithm>
#include <set>

#include "bench/files/readers.h"
#include "bench/rigs/simulated/simulated_unit.h"

namespace tachproof {
namespace {

constexpr std::size_t most_faults = 256;

class FaultReader {
 public:
  FaultReader(const Gauge* unit, ErrorList& errors) : unit_(unit), errors_(errors) {}

  void read(const YamlNode& node, std::vector<FaultSetting>& faults) {
    Mapping m(node, errors_, "a fault");
    const FaultKind* kind = find_kind(m);
    if (kind == nullptr) return;
    FaultSetting fault;
    fault.kind = kind->kind;
    for (const std::string& key : kind->words) word(m, key, Need::must, fault);
    for (const std::string& key : kind->optional_words) word(m, key, Need::may, fault);
    for (const std::string& key : kind->numbers) number(m, key, Need::must, fault);
    for (const std::string& key : kind->optional_numbers) number(m, key, Need::may, fault);
    m.finish();
    if (unit_ != nullptr)
      for (const auto& [key, text] : fault.words) look_up(key, text, fault, m.place(key));
    faults.push_back(std::move(fault));
  }

 private:
  const FaultKind* find_kind(Mapping& m) {
    std::vector<std::string> names;
    for (const FaultKind& kind : fault_catalogue()) names.push_back(kind.kind);
    std::string name;
    if (!m.selector("kind", name, names)) return nullptr;
    const auto at = std::find(names.begin(), names.end(), name) - names.begin();
    return &fault_catalogue()[static_cast<std::size_t>(at)];
  }

  void word(Mapping& m, const std::string& key, Need need, FaultSetting& fault) {
    std::string text;
    if (m.name(key, text, need)) fault.words[key] = text;
  }

  void number(Mapping& m, const std::string& key, Need need, FaultSetting& fault) {
    double value = 0;
    if (m.number(key, value, {-1e9, 1e9}, need)) fault.numbers[key] = value;
  }

  void look_up(const std::string& key, const std::string& text, const FaultSetting& fault, Place at) {
    std::vector<std::string> known;
    std::string what = key;
    if (key == "boundary" || key == "window") {
      for (std::size_t i = key == "boundary" ? 1 : 0; i < unit_->windows.size(); ++i)
        known.push_back(unit_->windows[i].name);
    } else if (key == "lamp" || key == "with") {
      what = "lamp";
      for (const Lamp& lamp : unit_->lamps) known.push_back(lamp.id);
    } else if (key == "anchor") {
      for (const auto& [anchor, rpm] : unit_->anchors) known.push_back(anchor);
    } else if (key == "sits") {
      what = "side";
      known = {"below", "centred", "above"};
    } else if (key == "colour" || key == "to") {
      what = "colour";
      known = colours_of(fault);
    } else {
      return;
    }
    if (std::find(known.begin(), known.end(), text) == known.end())
      unknown_word(at, what, text, known, errors_);
  }

  // Of the fault's lamp where it names one, else of any.
  std::vector<std::string> colours_of(const FaultSetting& fault) const {
    const auto named = fault.words.find("lamp");
    const auto is_named = [&](const Lamp& l) { return named != fault.words.end() && l.id == named->second; };
    const bool one = std::any_of(unit_->lamps.begin(), unit_->lamps.end(), is_named);
    std::set<std::string> colours;
    for (const Lamp& lamp : unit_->lamps)
      if (!one || is_named(lamp)) colours.insert(lamp.colours.begin(), lamp.colours.end());
    return {colours.begin(), colours.end()};
  }

  const Gauge* unit_;
  ErrorList& errors_;
};

}  // namespace

Behaviour read_behaviour(const YamlNode& node, const Gauge* unit, ErrorList& errors) {
  constexpr Range ms_range{0, 60'000};
  Behaviour b;
  Mapping m(node, errors, "a behaviour");
  m.number("response_ms", b.response_ms, ms_range, Need::may);
  m.number("averaging_pulses", b.averaging_pulses, {1, 10'000}, Need::may);
  m.number("averaging_ms", b.averaging_ms, {0, 60'000, true}, Need::may);
  if (m.has("averaging_pulses") && m.has("averaging_ms"))
    errors.add(m.place("averaging_ms"), "'averaging_ms' beside 'averaging_pulses'", "one of the two");
  m.number("update_hz", b.update_hz, {0, 1e5}, Need::may);
  m.number("resolution_rpm", b.resolution_rpm, {0, 10'000}, Need::may);
  m.number("timer_hz", b.timer_hz, {1000, 1e9}, Need::may);
  m.number("signal_lost_ms", b.signal_lost_ms, {1, 3'600'000}, Need::may);
  m.number("boot_ms", b.boot_ms, {0, 3'600'000}, Need::may);
  m.number("lowest_v", b.lowest_v, {0, 60}, Need::may);
  m.number("holds_ms", b.holds_ms, {0, 60'000}, Need::may);
  m.number("dim", b.dim, {0, 1, true}, Need::may);
  m.number("dim_hz", b.dim_hz, {1, 100'000}, Need::may);
  const YamlNode* faults = m.any("faults", Need::may);
  const bool none = faults != nullptr && faults->kind == YamlNode::Kind::list && faults->items.empty();
  if (faults != nullptr && !none && is_list(*faults, "'faults'", errors, most_faults))
    for (const YamlNode* fault : faults->items) FaultReader(unit, errors).read(*fault, b.faults);
  m.finish();
  return b;
}

}  // namespace tachproof
