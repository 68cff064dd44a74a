// Gauge files.
//
//     format: 1
//     kind: gauge
//     name: one line of text
//     pulses_per_rev: above 0, at most 60; fractions are fine (0.5, 2.5)
//     drive: {...}, resolution_rpm: N         optional; see speeds.h
//     anchors: {NAME: rpm or speed, ...}      optional
//     lamps: [{id: NAME, colours: [NAME, ...]}, ...]   left to right
//     windows:                                lowest first, the first from 0
//       - {name: NAME, from: FROM, show: {LAMP: COLOUR, ...}}
//       - {count_in: {ends_at: ANCHOR, span_rpm: N, show: [{LAMP: COLOUR, ...}, ...], at: [...]}}
//     deadband: {rpm: N, sits: below | centred | above}   sits may be left out when rpm is 0
//     blink: {hz: N, duty: N}                 needed when a window blinks
//     tolerance: {rpm: N, response_ms: {from: N, to: N}, settle_ms: 10, blink_hz: 0.4,
//                 blink_duty: 0.1, signal_lost_ms: 1000}  the last four are optional
//
// FROM is an rpm, or {ANCHOR: offset}; either may be a speed where there is a
// drive. COLOUR is a colour of that lamp, or
// "COLOUR blinking"; a lamp that `show` does not name is dark. Names are
// letters, digits, '_', '.' and '-'.
//
// A count-in becomes windows count-in-1, count-in-2, ...: one for each entry
// of `show`. They start from dark, and each keeps what the ones before it lit;
// a lamp named again takes the new colour. The span of `span_rpm` ends at the
// anchor and is divided evenly, or `at` says where each window begins: offsets
// below zero count from the anchor, others from the start of the span. A
// second count-in of the gauge continues the numbering. The span must not
// overlap its neighbours.
//
//     buttons: [{name: NAME, does: take, boundary: WINDOW, allowed: {from: RPM, to: RPM}},
//               {name: NAME, does: show-peak, for: TIME},
//               {name: NAME, does: dim, levels: [PER CENT, ...]}]            optional
//     power_up: {boot_ms: {from: N, to: N}, greets: {show: {...}, for: TIME}, keeps: [BUTTON, ...]}
//                                             optional; so are greets and keeps
//     supply: {from: 9V, to: 16V}             optional
//
// At most 64 pairs of lamp and colour, and 256 entries in `windows`.
#include <algorithm>
#include <map>
#include <set>

#include "bench/files/readers.h"
#include "bench/files/speeds.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

constexpr Range rpm_range{0, Profile::max_rpm};
constexpr Range offset_range{-Profile::max_rpm, Profile::max_rpm};
constexpr Range ms_range{0, 60'000};
constexpr std::size_t most_windows = 256;

class GaugeReader {
 public:
  explicit GaugeReader(ErrorList& errors) : errors_(errors), rpm_(errors) {}

  Gauge read(const YamlNode& root) {
    Mapping file(root, errors_, "a gauge");
    if (!read_header(file, "gauge", errors_)) return {};
    places_[""] = root.at;
    part("name", [&] { file.text("name", gauge_.name, Need::must); });
    part("pulses_per_rev", [&] {
      file.number("pulses_per_rev", gauge_.pulses_per_rev, {0, 60, true}, Need::must);
    });
    part("drive", [&] { rpm_.read_settings(file); });
    if (broken_.contains("drive")) broken_.insert({"anchors", "windows"});  // what they say in speeds
    part("anchors", [&] {
      if (const YamlNode* node = file.any("anchors", Need::may)) anchors(*node);
    });
    part("lamps", [&] {
      if (const YamlNode* node = file.list("lamps", Need::must, max_channels)) lamps(*node);
      note("lamps", file.place("lamps"));
    });
    part("windows", [&] {
      if (const YamlNode* node = file.list("windows", Need::must, most_windows)) windows(*node);
    });
    part("deadband", [&] {
      if (const YamlNode* node = file.any("deadband", Need::must)) deadband(*node);
    });
    part("blink", [&] {
      if (const YamlNode* node = file.any("blink", Need::may)) blink(*node);
      note("blink", file.place("blink"));
    });
    part("tolerance", [&] {
      if (const YamlNode* node = file.any("tolerance", Need::must)) tolerance(*node);
    });
    part("buttons", [&] {
      if (const YamlNode* node = file.list("buttons", Need::may))
        read_buttons(*node, gauge_, !broken_.contains("windows"), noted(), errors_);
    });
    part("power_up", [&] {
      if (const YamlNode* node = file.any("power_up", Need::may))
        read_power_up(
            *node, gauge_, [this](const YamlNode& show, Cue& into) { cue(show, into); }, noted(), errors_);
    });
    part("supply", [&] {
      if (const YamlNode* node = file.any("supply", Need::may)) read_supply(*node, gauge_, errors_);
      note("supply", file.place("supply"));
    });
    file.finish();
    gauge_.drive = rpm_.drive();
    gauge_.resolution_rpm = rpm_.resolution_rpm();
    for (const char* key : {"name", "pulses_per_rev", "drive", "anchors", "lamps", "windows", "deadband",
                            "blink", "tolerance", "buttons", "power_up", "supply"})
      if (file.spoilt(key)) broken_.insert(key);
    rules();
    return std::move(gauge_);
  }

 private:
  template <typename Read>
  void part(const std::string& name, Read read) {
    const std::size_t before = errors_.values();
    read();
    if (errors_.values() != before) broken_.insert(name);
  }

  void note(const std::string& path, Place at) { places_[path] = at; }
  NotePlace noted() {
    return [this](const std::string& path, Place at) { note(path, at); };
  }

  void anchors(const YamlNode& node) {
    if (node.kind != YamlNode::Kind::mapping) {
      errors_.add(node.at, "'anchors' is " + found_text(node), "a mapping of names to rpm");
      return;
    }
    Mapping all(node, errors_, "anchors");
    for (const YamlNode::Entry& e : node.entries) {
      const std::string& name = e.key->text;
      double rpm = 0;
      if (!is_name(name))
        errors_.add(e.key->at, "anchor '" + on_one_line(name) + "'", std::string(name_rule));
      const bool is_first = std::none_of(gauge_.anchors.begin(), gauge_.anchors.end(),
                                         [&](const auto& a) { return a.first == name; });
      std::optional<Speed> speed;
      const YamlNode& value = *all.any(name, Need::must);
      if (!is_first || !rpm_.read(value, "'" + on_one_line(name) + "'", rpm_range, rpm, speed)) continue;
      gauge_.anchors.emplace_back(name, rpm);
      if (speed) gauge_.anchor_speeds.emplace_back(name, *speed);
    }
    all.finish();
  }

  void lamps(const YamlNode& list) {
    for (const YamlNode* node : list.items) {
      const std::string path = "lamps[" + std::to_string(gauge_.lamps.size()) + "]";
      Lamp lamp;
      Mapping m(*node, errors_, "a lamp");
      m.name("id", lamp.id, Need::must);
      note(path + ".id", m.place("id"));
      if (const YamlNode* colours = m.list("colours", Need::must, max_channels))
        for (const YamlNode* item : colours->items) {
          std::string colour;
          note(path + ".colours[" + std::to_string(lamp.colours.size()) + "]", item->at);
          if (read_name(*item, "a colour", colour, errors_)) lamp.colours.push_back(colour);
        }
      m.finish();
      gauge_.lamps.push_back(std::move(lamp));
    }
  }

  void windows(const YamlNode& list) {
    for (const YamlNode* node : list.items) {
      Mapping m(*node, errors_, "a window");
      if (!m.sound()) continue;
      if (m.has("count_in")) {
        if (const YamlNode* block = m.any("count_in", Need::must)) count_in(*block);
      } else {
        window(m);
      }
      m.finish();
    }
  }

  void window(Mapping& m) {
    const std::string path = "windows[" + std::to_string(gauge_.windows.size()) + "]";
    Window w;
    m.name("name", w.name, Need::must);
    if (w.name.starts_with("count-in-"))
      errors_.add(m.place("name"), "'" + w.name + "' is the name of a count-in's window", "any other name");
    bool placed = false;
    if (const YamlNode* from = m.any("from", Need::must)) placed = boundary(*from, w);
    if (const YamlNode* show = m.any("show", Need::must)) cue(*show, w.cue);
    note(path + ".name", m.place("name"));
    note(path + ".from", m.place("from"));
    note(path + ".show", m.place("show"));
    if (placed && count_in_ends_ && w.from_rpm < *count_in_ends_)
      errors_.add(m.place("from"), number_text(w.from_rpm) + " rpm, inside the count-in before",
                  "from " + number_text(*count_in_ends_) + " rpm, where the count-in ends");
    if (placed) count_in_ends_.reset();
    gauge_.windows.push_back(std::move(w));
  }

  // FROM: a number, or {anchor: offset}.
  bool boundary(const YamlNode& node, Window& window) {
    if (node.kind != YamlNode::Kind::mapping)
      return rpm_.read(node, "'from'", rpm_range, window.from_rpm, window.from_speed,
                       ", or {anchor: offset}");
    if (node.entries.size() != 1) {
      errors_.add(node.at, "'from' with " + std::to_string(node.entries.size()) + " anchors",
                  "a number, or one {anchor: offset}");
      return false;
    }
    double anchor_rpm = 0;
    double offset = 0;
    const bool known = anchor(*node.entries[0].key, anchor_rpm);
    if (!rpm_.read(*node.entries[0].value, "an offset in rpm", offset_range, offset, window.from_speed) ||
        !known)
      return false;
    window.from_rpm = anchor_rpm + offset;
    window.anchor = node.entries[0].key->text;
    return true;
  }

  bool anchor(const YamlNode& name, double& rpm) {
    if (broken_.contains("anchors")) {
      broken_.insert("windows");
      return false;
    }
    std::vector<std::string> names;
    for (const auto& [known, at] : gauge_.anchors) {
      if (known == name.text && name.kind == YamlNode::Kind::scalar) {
        rpm = at;
        return true;
      }
      names.push_back(known);
    }
    unknown_word(name.at, "anchor", name.text, names, errors_);
    return false;
  }

  // {LAMP: COLOUR, ...} on top of what the cue shows already.
  void cue(const YamlNode& node, Cue& into) {
    if (node.kind != YamlNode::Kind::mapping) {
      errors_.add(node.at, "'show' is " + found_text(node), "a mapping of lamps to colours, {} for dark");
      return;
    }
    Mapping m(node, errors_, "show");
    for (const YamlNode::Entry& e : node.entries) {
      const YamlNode& value = *m.any(e.key->text, Need::must);
      if (&value == e.value) lit(*e.key, value, into);
    }
    m.finish();
  }

  void lit(const YamlNode& lamp_id, const YamlNode& value, Cue& into) {
    if (value.kind != YamlNode::Kind::scalar) {
      errors_.add(value.at, "'" + on_one_line(lamp_id.text) + "' is " + found_text(value),
                  "a colour, or a colour and 'blinking'");
      return;
    }
    if (broken_.contains("lamps")) return;
    const auto lamp = std::find_if(gauge_.lamps.begin(), gauge_.lamps.end(),
                                   [&](const Lamp& l) { return l.id == lamp_id.text; });
    if (lamp == gauge_.lamps.end()) {
      std::vector<std::string> ids;
      for (const Lamp& l : gauge_.lamps) ids.push_back(l.id);
      unknown_word(lamp_id.at, "lamp", lamp_id.text, ids, errors_);
      return;
    }
    constexpr std::string_view blinking = " blinking";
    std::string colour = value.text;
    const bool blinks = colour.ends_with(blinking);
    if (blinks) colour.resize(colour.size() - blinking.size());
    const Channels channel = gauge_.channel(lamp->id, colour);
    if (channel == 0) {
      const std::size_t blank = colour.rfind(' ');
      const std::string first = colour.substr(0, blank);
      if (blank != std::string::npos && gauge_.channel(lamp->id, first) != 0)
        errors_.add(value.at, "'" + on_one_line(value.text) + "'",
                    "did you mean '" + first + " blinking'? A lamp shows a colour, or a colour blinking");
      else
        unknown_word(value.at, "colour", colour, lamp->colours, errors_);
      return;
    }
    const Channels others = ~gauge_.lamp_channels(static_cast<std::size_t>(lamp - gauge_.lamps.begin()));
    into.steady = (into.steady & others) | (blinks ? 0 : channel);
    into.blinking = (into.blinking & others) | (blinks ? channel : 0);
  }

  void count_in(const YamlNode& node) {
    Mapping m(node, errors_, "a count-in");
    double end = 0;
    double span = 0;
    std::string hangs_from;
    bool sound = false;
    if (const YamlNode* ends_at = m.any("ends_at", Need::must)) {
      if (ends_at->kind == YamlNode::Kind::scalar) {
        sound = anchor(*ends_at, end);
        hangs_from = ends_at->text;
      } else {
        errors_.add(ends_at->at, "'ends_at' is " + found_text(*ends_at), "the name of an anchor");
      }
    }
    sound = m.number("span_rpm", span, {0, Profile::max_rpm, true}, Need::must) && sound;
    const YamlNode* show = m.list("show", Need::must, most_windows);
    const YamlNode* at = m.list("at", Need::may, most_windows);
    const double start = end - span;
    if (sound) span_is_free(m, start);
    std::vector<double> offsets;
    if (show != nullptr && at != nullptr && sound) offsets = at_offsets(*at, span, show->items.size());
    m.finish();
    if (show == nullptr) return;
    Cue lit_so_far;
    for (std::size_t i = 0; i < show->items.size(); ++i) {
      const auto share = static_cast<double>(i) / static_cast<double>(show->items.size());
      const std::string path = "windows[" + std::to_string(gauge_.windows.size()) + "]";
      cue(*show->items[i], lit_so_far);
      const double from = start + (i < offsets.size() ? offsets[i] : span * share);
      gauge_.windows.push_back({"count-in-" + std::to_string(++count_ins_), from, lit_so_far, hangs_from});
      note(path + ".name", m.at());
      note(path + ".from", at != nullptr ? at->at : m.place("span_rpm"));
      note(path + ".show", show->items[i]->at);
    }
    if (sound) count_in_ends_ = end;
  }

  void span_is_free(const Mapping& m, double start) {
    const std::string found = "a count-in from " + number_text(start) + " rpm";
    if (count_in_ends_ && start < *count_in_ends_)
      errors_.add(m.place("span_rpm"), found,
                  "from " + number_text(*count_in_ends_) + " rpm, where the count-in before ends");
    else if (start < 0)
      errors_.add(m.place("span_rpm"), found, "a span no longer than its anchor is high");
    else if (!gauge_.windows.empty() && !count_in_ends_ && start <= gauge_.windows.back().from_rpm)
      errors_.add(m.place("span_rpm"), found,
                  "above " + number_text(gauge_.windows.back().from_rpm) + " rpm, where window '" +
                      gauge_.windows.back().name + "' before it begins");
  }

  // `at`, as offsets from the start of the span.
  std::vector<double> at_offsets(const YamlNode& list, double span, std::size_t wanted) {
    std::vector<double> offsets;
    const bool from_anchor = plain_number(*list.items[0]).value_or(0) < 0;
    for (const YamlNode* item : list.items) {
      double offset = 0;
      if (!read_number(*item, "an offset in rpm", offset, offset_range, errors_)) return {};
      const double from_start = from_anchor ? offset + span : offset;
      if ((offset < 0) != from_anchor)
        errors_.add(item->at, "offsets both below zero and not",
                    "all below zero (from the anchor), or none (from the start of the span)");
      else if (from_start < 0 || from_start >= span)
        errors_.add(item->at, number_text(offset) + " rpm",
                    "inside the span of " + number_text(span) + " rpm");
      else if (!offsets.empty() && from_start <= offsets.back())
        errors_.add(item->at, number_text(offset) + " rpm", "above the offset before it");
      offsets.push_back(from_start);
    }
    if (offsets.size() != wanted)
      errors_.add(list.at, std::to_string(offsets.size()) + " offsets",
                  "one for each entry of 'show': " + std::to_string(wanted));
    return offsets;
  }

  void deadband(const YamlNode& node) {
    Mapping m(node, errors_, "a deadband");
    std::string sits = "below";
    const bool has_width = m.number("rpm", gauge_.deadband.rpm, rpm_range, Need::must);
    const Need need = has_width && gauge_.deadband.rpm == 0 ? Need::may : Need::must;
    m.choice("sits", sits, {"below", "centred", "above"}, need);
    m.finish();
    gauge_.deadband.sits = sits == "above" ? Sits::above : sits == "centred" ? Sits::centred : Sits::below;
    note("deadband.rpm", m.place("rpm"));
  }

  void blink(const YamlNode& node) {
    Mapping m(node, errors_, "a blink");
    Blink blink;
    m.number("hz", blink.hz, {0.1, 100}, Need::must);
    m.number("duty", blink.duty, {0, 1, true, true}, Need::must);
    m.finish();
    gauge_.blink = blink;
  }

  void tolerance(const YamlNode& node) {
    Tolerance& t = gauge_.tolerance;
    Mapping m(node, errors_, "a tolerance");
    m.number("rpm", t.rpm, rpm_range, Need::must);
    if (const YamlNode* response = m.any("response_ms", Need::must)) {
      Mapping r(*response, errors_, "a response");
      r.milliseconds("from", t.response_from, ms_range, Need::must);
      r.milliseconds("to", t.response_to, ms_range, Need::must);
      r.finish();
      note("tolerance.response_ms.to", r.place("to"));
    }
    m.milliseconds("settle_ms", t.settle, ms_range, Need::may);
    m.number("blink_hz", t.blink_hz, {0, 100}, Need::may);
    m.number("blink_duty", t.blink_duty, {0, 1}, Need::may);
    m.milliseconds("signal_lost_ms", t.signal_lost, {1, 60'000}, Need::may);
    m.finish();
  }

  // The core's rules, at their places. What follows from a part that is
  // already known to be wrong is left out.
  void rules() {
    for (const Problem& p : problems_of(gauge_)) {
      const std::string top = p.path.substr(0, p.path.find_first_of(".["));
      const bool of_windows = top == "deadband" || top == "buttons" || top == "power_up";
      const bool follows = (of_windows && (broken_.contains("windows") || broken_.contains("lamps"))) ||
                           (top == "power_up" && broken_.contains("buttons"));
      if (broken_.contains(top) || follows) continue;
      const auto found = places_.find(p.path);
      errors_.add(found != places_.end() ? found->second : places_[""], p.found, p.allowed);
    }
  }

  ErrorList& errors_;
  RpmReader rpm_;
  Gauge gauge_;
  std::map<std::string, Place> places_;  // by the core's paths
  std::set<std::string> broken_;         // keys of the gauge whose values cannot be judged further
  std::optional<double> count_in_ends_;  // of the count-in just before
  int count_ins_ = 0;
};

}  // namespace

Gauge read_gauge(const YamlNode& root, ErrorList& errors) { return GaugeReader(errors).read(root); }

}  // namespace tachproof
