// The rules that a gauge must keep, whoever made it.
#include <set>
#include <utility>

#include "core/base/rpm.h"
#include "core/base/words.h"
#include "core/gauge/gauge.h"

namespace tachproof {
namespace {

constexpr double most_pulses_per_rev = 60;
// Slower is no blink that anybody would call one; and times that come of it stay times.
constexpr double least_blink_hz = 0.1, most_blink_hz = 100;
constexpr Nanos longest_time = 60 * ns_per_s;

class Rules {
 public:
  explicit Rules(const Gauge& gauge) : gauge_(gauge) {}

  std::vector<Problem> all() {
    general();
    anchors();
    lamps();
    windows();
    cues();
    deadband();
    blink();
    tolerance();
    return std::move(problems_);
  }

 private:
  void problem(std::string path, std::string found, std::string allowed) {
    problems_.push_back({std::move(path), std::move(found), std::move(allowed)});
  }

  // True when it is a name that none of `taken` has; then it is taken.
  void unique_name(const std::string& path, const std::string& name, std::set<std::string>& taken,
                   const std::string& others) {
    if (!is_name(name))
      problem(path, "'" + name + "'", std::string(name_rule));
    else if (!taken.insert(name).second)
      problem(path, "'" + name + "' again", "a name that no other " + others + " has");
  }

  // NaN is never within.
  void within(const std::string& path, double value, double lowest, double highest, const std::string& unit) {
    if (!(value >= lowest && value <= highest))
      problem(path, number_text(value) + unit,
              "from " + number_text(lowest) + " to " + number_text(highest) + unit);
  }

  void time_within(const std::string& path, Nanos value, Nanos lowest) {
    within(path, to_ms(value), to_ms(lowest), to_ms(longest_time), " ms");
  }

  void general() {
    if (gauge_.name.empty()) problem("name", "an empty name", "a text");
    if (!(gauge_.pulses_per_rev > 0 && gauge_.pulses_per_rev <= most_pulses_per_rev))
      problem("pulses_per_rev", number_text(gauge_.pulses_per_rev), "above 0, at most 60");
  }

  void anchors() {
    std::set<std::string> taken;
    for (const auto& [name, rpm] : gauge_.anchors) {
      unique_name("anchors." + name, name, taken, "anchor");
      within("anchors." + name, rpm, 0, max_rpm, " rpm");
    }
  }

  void lamps() {
    if (gauge_.lamps.empty()) problem("lamps", "no lamps", "at least one lamp");
    std::set<std::string> ids;
    for (std::size_t i = 0; i < gauge_.lamps.size(); ++i) {
      const Lamp& lamp = gauge_.lamps[i];
      const std::string path = "lamps[" + std::to_string(i) + "]";
      unique_name(path + ".id", lamp.id, ids, "lamp");
      if (lamp.colours.empty()) problem(path + ".colours", "no colours", "at least one colour");
      std::set<std::string> colours;
      for (std::size_t k = 0; k < lamp.colours.size(); ++k)
        unique_name(path + ".colours[" + std::to_string(k) + "]", lamp.colours[k], colours,
                    "colour of this lamp");
    }
    if (gauge_.channels() > max_channels)
      problem("lamps", std::to_string(gauge_.channels()) + " pairs of lamp and colour", "at most 64");
  }

  void windows() {
    if (gauge_.windows.empty()) problem("windows", "no windows", "at least one window");
    std::set<std::string> names;
    for (std::size_t i = 0; i < gauge_.windows.size(); ++i) {
      const std::string path = window(i);
      const double from = gauge_.windows[i].from_rpm;
      unique_name(path + ".name", gauge_.windows[i].name, names, "window");
      if (i == 0 && from != 0)
        problem(path + ".from", number_text(from) + " rpm", "0, because this is the lowest window");
      if (i == 0) continue;
      const double before = gauge_.windows[i - 1].from_rpm;
      if (!(from >= 0 && from <= max_rpm))
        within(path + ".from", from, 0, max_rpm, " rpm");
      else if (from <= before)
        problem(path + ".from", "window '" + gauge_.windows[i].name + "' from " + number_text(from) + " rpm",
                "above " + number_text(before) + " rpm, where window '" + gauge_.windows[i - 1].name +
                    "' before it begins");
    }
  }

  void cues() {
    // Bits beyond 64 pairs have no meaning.
    if (gauge_.channels() > max_channels) return;
    for (std::size_t i = 0; i < gauge_.windows.size(); ++i) {
      const Cue& cue = gauge_.windows[i].cue;
      const std::string path = window(i) + ".show";
      const Channels lit = cue.steady | cue.blinking;
      if ((lit & ~gauge_.all_channels()) != 0)
        problem(path, "a lamp or colour that the gauge does not have", "the gauge's own lamps");
      if ((cue.steady & cue.blinking) != 0)
        problem(path, gauge_.describe(cue.steady & cue.blinking) + ", both steady and blinking",
                "one of the two");
      for (std::size_t lamp = 0; lamp < gauge_.lamps.size(); ++lamp) {
        const Channels colours = lit & gauge_.lamp_channels(lamp);
        if ((colours & (colours - 1)) != 0)
          problem(path, gauge_.describe(colours) + " together", "one colour of a lamp at a time");
      }
    }
  }

  // A window that is no wider than the deadband could never be left where it
  // was entered: its neighbours' thresholds would cross.
  void deadband() {
    const double width = gauge_.deadband.rpm;
    if (!(width >= 0 && width <= max_rpm)) {
      problem("deadband.rpm", number_text(width) + " rpm", "from 0 to 20000 rpm");
      return;
    }
    if (width == 0) return;
    const Window* narrowest = nullptr;
    double least = 0;
    for (std::size_t i = 0; i + 1 < gauge_.windows.size(); ++i) {
      const double wide = gauge_.windows[i + 1].from_rpm - gauge_.windows[i].from_rpm;
      // Windows out of order are a problem of their own.
      if (wide > 0 && (narrowest == nullptr || wide < least)) {
        narrowest = &gauge_.windows[i];
        least = wide;
      }
    }
    if (narrowest != nullptr && !(width < least))
      problem("deadband.rpm", number_text(width) + " rpm",
              "less than " + number_text(least) + " rpm, the width of window '" + narrowest->name + "'");
  }

  void blink() {
    bool blinks = false;
    for (const Window& w : gauge_.windows) blinks = blinks || w.cue.blinking != 0;
    if (blinks && !gauge_.blink) problem("blink", "no blink", "hz and duty, because a window blinks");
    if (!gauge_.blink) return;
    if (!(gauge_.blink->hz >= least_blink_hz && gauge_.blink->hz <= most_blink_hz))
      problem("blink.hz", number_text(gauge_.blink->hz) + " Hz", "from 0.1 to 100 Hz");
    if (!(gauge_.blink->duty > 0 && gauge_.blink->duty < 1))
      problem("blink.duty", number_text(gauge_.blink->duty), "above 0 and below 1");
  }

  void tolerance() {
    const Tolerance& t = gauge_.tolerance;
    within("tolerance.rpm", t.rpm, 0, max_rpm, " rpm");
    time_within("tolerance.response_ms.from", t.response_from, 0);
    time_within("tolerance.response_ms.to", t.response_to, 0);
    if (t.response_to < t.response_from)
      problem("tolerance.response_ms.to", number_text(to_ms(t.response_to)) + " ms",
              "at least " + number_text(to_ms(t.response_from)) + " ms, the fastest response");
    time_within("tolerance.settle_ms", t.settle, 0);
    time_within("tolerance.signal_lost_ms", t.signal_lost, ns_per_ms);
    within("tolerance.blink_hz", t.blink_hz, 0, most_blink_hz, " Hz");
    within("tolerance.blink_duty", t.blink_duty, 0, 1, "");
  }

  static std::string window(std::size_t i) { return "windows[" + std::to_string(i) + "]"; }

  const Gauge& gauge_;
  std::vector<Problem> problems_;
};

}  // namespace

std::vector<Problem> problems_of(const Gauge& gauge) {
  std::vector<Problem> all = Rules(gauge).all();
  // What buttons do to windows that are wrong is no help to anyone.
  if (all.empty()) all = problems_of_buttons(gauge);
  return all;
}

}  // namespace tachproof
