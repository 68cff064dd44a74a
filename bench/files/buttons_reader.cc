// The buttons, power-up and supply of a gauge file; its shape is in gauge_reader.cc.
#include "bench/files/readers.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

constexpr Range take_range{0, Profile::max_rpm};
constexpr Range level_range{0, 100, true};
constexpr Range boot_range{0, 60'000};
constexpr std::size_t most_buttons = 16, most_levels = 32;

class ButtonsReader {
 public:
  ButtonsReader(Gauge& gauge, bool windows_sound, const NotePlace& note, ErrorList& errors)
      : gauge_(gauge), windows_sound_(windows_sound), note_(note), errors_(errors) {}

  void read(const YamlNode& node) {
    path_ = "buttons[" + std::to_string(gauge_.buttons.size()) + "]";
    Button button;
    Mapping m(node, errors_, "a button");
    if (!m.sound()) return;
    m.name("name", button.name, Need::must);
    note_(path_ + ".name", m.place("name"));
    std::string does;
    if (!m.selector("does", does, {"take", "show-peak", "dim"})) return;
    if (does == "take")
      button.does = take(m);
    else if (does == "show-peak")
      button.does = peak(m);
    else
      button.does = dim(m);
    m.finish();
    gauge_.buttons.push_back(std::move(button));
  }

 private:
  TakeRpm take(Mapping& m) {
    TakeRpm take;
    std::string boundary;
    if (m.name("boundary", boundary, Need::must) && windows_sound_)
      take.boundary = boundary_named(m.place("boundary"), boundary);
    if (const YamlNode* allowed = m.any("allowed", Need::must)) {
      Mapping a(*allowed, errors_, "what a take allows");
      a.number("from", take.lowest_rpm, take_range, Need::must);
      a.number("to", take.highest_rpm, take_range, Need::must);
      a.finish();
    }
    note_(path_ + ".boundary", m.place("boundary"));
    note_(path_ + ".allowed", m.place("allowed"));
    return take;
  }

  std::size_t boundary_named(Place at, const std::string& name) {
    std::vector<std::string> names;
    for (std::size_t i = 1; i < gauge_.windows.size(); ++i) {
      if (gauge_.windows[i].name == name) return i;
      names.push_back(gauge_.windows[i].name);
    }
    unknown_word(at, "boundary", name, names, errors_);
    return 0;
  }

  ShowPeak peak(Mapping& m) {
    ShowPeak peak;
    m.duration("for", peak.lasts, Need::must);
    note_(path_ + ".for", m.place("for"));
    return peak;
  }

  Dim dim(Mapping& m) {
    Dim dim;
    if (const YamlNode* levels = m.list("levels", Need::must, most_levels))
      for (const YamlNode* item : levels->items) {
        double level = 100;
        note_(path_ + ".levels[" + std::to_string(dim.levels.size()) + "]", item->at);
        if (read_number(*item, "a level", level, level_range, errors_)) dim.levels.push_back(level / 100);
      }
    note_(path_ + ".levels", m.place("levels"));
    return dim;
  }

  Gauge& gauge_;
  bool windows_sound_;
  const NotePlace& note_;
  ErrorList& errors_;
  std::string path_;
};

}  // namespace

void read_buttons(const YamlNode& list, Gauge& gauge, bool windows_sound, const NotePlace& note,
                  ErrorList& errors) {
  if (list.items.size() > most_buttons) {
    errors.add(list.at, std::to_string(list.items.size()) + " buttons", "at most 16");
    return;
  }
  for (const YamlNode* node : list.items) ButtonsReader(gauge, windows_sound, note, errors).read(*node);
}

void read_power_up(const YamlNode& node, Gauge& gauge, const ReadCue& cue, const NotePlace& note,
                   ErrorList& errors) {
  PowerUp& p = gauge.power_up.emplace();
  Mapping m(node, errors, "a power-up");
  if (const YamlNode* boot = m.any("boot_ms", Need::must)) {
    Mapping b(*boot, errors, "a time to boot");
    b.milliseconds("from", p.boot_from, boot_range, Need::must);
    b.milliseconds("to", p.boot_to, boot_range, Need::must);
    b.finish();
    note("power_up.boot_ms", boot->at);
  }
  if (const YamlNode* greets = m.any("greets", Need::may)) {
    Greeting& greeting = p.greets.emplace();
    Mapping g(*greets, errors, "a greeting");
    if (const YamlNode* show = g.any("show", Need::must)) cue(*show, greeting.cue);
    g.duration("for", greeting.lasts, Need::must);
    note("power_up.greets.show", g.place("show"));
    note("power_up.greets.for", g.place("for"));
    g.finish();
  }
  if (const YamlNode* keeps = m.list("keeps", Need::may, any_number))
    for (const YamlNode* item : keeps->items) {
      std::string name;
      note("power_up.keeps[" + std::to_string(p.keeps.size()) + "]", item->at);
      if (read_name(*item, "a button", name, errors)) p.keeps.push_back(name);
    }
  m.finish();
}

void read_supply(const YamlNode& node, Gauge& gauge, ErrorList& errors) {
  SupplyRange& range = gauge.supply.emplace();
  Mapping m(node, errors, "a supply");
  m.volts("from", range.lowest_v, Need::must);
  m.volts("to", range.highest_v, Need::must);
  m.finish();
}

}  // namespace tachproof
