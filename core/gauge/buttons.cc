#include "core/gauge/buttons.h"

#include <algorithm>
#include <set>
#include <utility>

#include "core/base/rpm.h"
#include "core/base/text.h"
#include "core/base/words.h"
#include "core/gauge/button_words.h"
#include "core/gauge/gauge.h"

namespace tachproof {
namespace {

constexpr Nanos longest_peak = 60 * ns_per_s;
constexpr Nanos longest_boot = 60 * ns_per_s;
constexpr std::size_t most_buttons = 16, most_levels = 32;

class ButtonRules {
 public:
  explicit ButtonRules(const Gauge& gauge) : gauge_(gauge) {}

  std::vector<Problem> all() {
    if (gauge_.buttons.size() > most_buttons)
      problem("buttons", std::to_string(gauge_.buttons.size()) + " buttons", "at most 16");
    for (std::size_t i = 0; i < gauge_.buttons.size(); ++i) {
      const Button& button = gauge_.buttons[i];
      path_ = "buttons[" + std::to_string(i) + "]";
      if (!is_name(button.name))
        problem(path_ + ".name", "'" + button.name + "'", std::string(name_rule));
      else if (!names_.insert(button.name).second)
        problem(path_ + ".name", "'" + button.name + "' again", "a name that no other button has");
      std::visit([this](const auto& does) { rule(does); }, button.does);
    }
    if (gauge_.power_up) power_up(*gauge_.power_up);
    if (gauge_.supply && !(gauge_.supply->lowest_v > 0 && gauge_.supply->lowest_v < gauge_.supply->highest_v))
      problem("supply",
              "from " + number_text(gauge_.supply->lowest_v) + " to " +
                  number_text(gauge_.supply->highest_v) + " V",
              "two voltages above 0, the lower first");
    return std::move(problems_);
  }

 private:
  void problem(std::string path, std::string found, std::string allowed) {
    problems_.push_back({std::move(path), std::move(found), std::move(allowed)});
  }

  // Without what these rules are about: the rules of its windows are left.
  static Gauge bare(Gauge gauge) {
    gauge.buttons.clear();
    gauge.power_up.reset();
    gauge.supply.reset();
    return gauge;
  }

  void rule(const TakeRpm& take) {
    if (take.boundary == 0 || take.boundary >= gauge_.windows.size()) {
      problem(path_ + ".boundary", "no boundary", "a window that begins above 0 rpm");
      return;
    }
    const Window& window = gauge_.windows[take.boundary];
    if (window.anchor.empty())
      problem(path_ + ".boundary", "'" + window.name + "', which hangs from no anchor",
              "a boundary that is given as {anchor: offset}: its anchor is what moves");
    if (!(take.lowest_rpm >= 0 && take.lowest_rpm < take.highest_rpm && take.highest_rpm <= max_rpm)) {
      problem(path_ + ".allowed",
              "from " + number_text(take.lowest_rpm) + " to " + number_text(take.highest_rpm) + " rpm",
              "two rpm, the lower first, from 0 to " + number_text(max_rpm));
      return;
    }
    for (const double rpm : {take.lowest_rpm, take.highest_rpm}) {
      const std::vector<Problem> wrong = problems_of(bare(with_boundary_at(gauge_, take.boundary, rpm)));
      if (wrong.empty()) continue;
      problem(path_ + ".allowed", number_text(rpm) + " rpm for boundary '" + window.name + "'",
              "rpm that keep all windows in order; at this one: " + wrong.front().found +
                  " (allowed: " + wrong.front().allowed + ")");
      return;
    }
  }

  void rule(const ShowPeak& peak) {
    if (!(peak.lasts > 0 && peak.lasts <= longest_peak))
      problem(path_ + ".for", say_span(peak.lasts), "above 0, at most 60 s");
  }

  void rule(const Dim& dim) {
    if (dim.levels.size() < 2 || dim.levels.size() > most_levels)
      problem(path_ + ".levels", std::to_string(dim.levels.size()) + " levels", "from 2 to 32");
    std::set<double> levels;
    for (std::size_t i = 0; i < dim.levels.size(); ++i) {
      const std::string path = path_ + ".levels[" + std::to_string(i) + "]";
      if (!(dim.levels[i] > 0 && dim.levels[i] <= 1))
        problem(path, per_cent_text(dim.levels[i]) + " %", "above 0, at most 100 % of full light");
      else if (!levels.insert(dim.levels[i]).second)
        problem(path, per_cent_text(dim.levels[i]) + " % again",
                "levels that differ: a press that changes nothing cannot be seen");
    }
  }

  void power_up(const PowerUp& power_up) {
    if (!(power_up.boot_from >= 0 && power_up.boot_to >= power_up.boot_from &&
          power_up.boot_to <= longest_boot))
      problem("power_up.boot_ms",
              "from " + number_text(to_ms(power_up.boot_from)) + " to " +
                  number_text(to_ms(power_up.boot_to)) + " ms",
              "two times, the shorter first, at most 60000 ms");
    if (power_up.greets) greeting(*power_up.greets);
    std::set<std::string> kept;
    for (std::size_t i = 0; i < power_up.keeps.size(); ++i) {
      const std::string path = "power_up.keeps[" + std::to_string(i) + "]";
      if (button_named(gauge_, power_up.keeps[i]) == nullptr)
        problem(path, "'" + power_up.keeps[i] + "'", "the name of a button");
      else if (!kept.insert(power_up.keeps[i]).second)
        problem(path, "'" + power_up.keeps[i] + "' again", "each button once");
    }
  }

  // The greeting is a cue like a window's: the same rules, asked of a gauge that shows it.
  void greeting(const Greeting& greeting) {
    if (!(greeting.lasts > 0 && greeting.lasts <= longest_boot))
      problem("power_up.greets.for", say_span(greeting.lasts), "above 0, at most 60 s");
    if ((greeting.cue.steady | greeting.cue.blinking) == 0)
      problem("power_up.greets.show", "no lamp", "at least one lamp; without a greeting leave 'greets' out");
    if (greeting.cue.blinking != 0 && !gauge_.blink) {
      problem("power_up.greets.show", "a lamp that blinks, in a gauge without 'blink'",
              "a 'blink' with hz and duty, because the greeting blinks");
      return;
    }
    Gauge greets = bare(gauge_);
    greets.windows.front().cue = greeting.cue;
    for (const Problem& wrong : problems_of(greets))
      problem("power_up.greets.show", wrong.found, wrong.allowed);
  }

  const Gauge& gauge_;
  std::string path_;
  std::set<std::string> names_;
  std::vector<Problem> problems_;
};

}  // namespace

const Button* button_named(const Gauge& gauge, const std::string& name) {
  const auto found = std::find_if(gauge.buttons.begin(), gauge.buttons.end(),
                                  [&](const Button& button) { return button.name == name; });
  return found == gauge.buttons.end() ? nullptr : &*found;
}

bool keeps(const PowerUp& power_up, const std::string& button) {
  return std::find(power_up.keeps.begin(), power_up.keeps.end(), button) != power_up.keeps.end();
}

Gauge with_boundary_at(const Gauge& gauge, std::size_t boundary, double rpm) {
  Gauge out = gauge;
  const std::string anchor = gauge.windows.at(boundary).anchor;
  const double by = rpm - gauge.windows[boundary].from_rpm;
  for (Window& window : out.windows)
    if (!anchor.empty() && window.anchor == anchor) {
      window.from_rpm += by;
      if (window.turns_at) {
        window.turns_at->first += by;
        window.turns_at->second += by;
      }
    }
  for (auto& [name, at] : out.anchors)
    if (name == anchor) at += by;
  return out;
}

std::vector<Problem> problems_of_buttons(const Gauge& gauge) { return ButtonRules(gauge).all(); }

}  // namespace tachproof
