// The buttons of a gauge file; its shape is in gauge_reader.cc.
#include "bench/files/readers.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

constexpr Range take_range{0, Profile::max_rpm};
constexpr Range level_range{0, 100, true};
constexpr std::size_t most_buttons = 16, most_levels = 32;

class ButtonsReader {
 public:
  ButtonsReader(Gauge& gauge, const NotePlace& note, ErrorList& errors)
      : gauge_(gauge), note_(note), errors_(errors) {}

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
    if (m.name("boundary", boundary, Need::must))
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
  const NotePlace& note_;
  ErrorList& errors_;
  std::string path_;
};

}  // namespace

void read_buttons(const YamlNode& list, Gauge& gauge, const NotePlace& note, ErrorList& errors) {
  if (list.items.size() > most_buttons) {
    errors.add(list.at, std::to_string(list.items.size()) + " buttons", "at most 16");
    return;
  }
  for (const YamlNode* node : list.items) ButtonsReader(gauge, note, errors).read(*node);
}

}  // namespace tachproof
