#include "core/gauge/buttons_change.h"

#include <algorithm>

#include "core/base/text.h"
#include "core/base/words.h"
#include "core/gauge/button_words.h"

namespace tachproof {
namespace {

class ButtonChanges {
 public:
  ButtonChanges(const Gauge& before, const Gauge& after, const std::vector<WindowChange>& windows)
      : before_(before), after_(after), windows_(windows) {}

  std::vector<std::string> all() {
    for (const Button& was : before_.buttons)
      if (button_named(after_, was.name) == nullptr) said_.push_back("button " + was.name + " is gone");
    for (const Button& is : after_.buttons) {
      const Button* was = button_named(before_, is.name);
      if (was == nullptr)
        said_.push_back("button " + is.name + " is new: it " + says_what(is, after_));
      else
        changed(*was, is);
    }
    power_up();
    supply();
    return std::move(said_);
  }

 private:
  void changed(const Button& was, const Button& is) {
    const std::string name = "button " + is.name + " ";
    if (was.does.index() != is.does.index()) {
      said_.push_back(name + "now " + says_what(is, after_) + ", and no longer " + says_what(was, before_));
    } else if (const auto* take = std::get_if<TakeRpm>(&is.does)) {
      took(name, std::get<TakeRpm>(was.does), *take);
    } else if (const auto* peak = std::get_if<ShowPeak>(&is.does)) {
      const Nanos lasted = std::get<ShowPeak>(was.does).lasts;
      if (lasted != peak->lasts)
        said_.push_back(name + says_what(is, after_) + ", no longer for " + say_span(lasted));
    } else if (const Dim& dim = std::get<Dim>(was.does); dim.levels != std::get<Dim>(is.does).levels) {
      said_.push_back(name + says_what(is, after_) + ", no longer to " + levels_text(dim) + " %");
    }
  }

  void took(const std::string& name, const TakeRpm& was, const TakeRpm& is) {
    if (!same_window(was.boundary, is.boundary))
      said_.push_back(name + "takes the rpm for " + after_.windows.at(is.boundary).name + ", no longer for " +
                      before_.windows.at(was.boundary).name);
    if (was.lowest_rpm != is.lowest_rpm || was.highest_rpm != is.highest_rpm)
      said_.push_back(name + "takes " + number_text(is.lowest_rpm) + " to " + number_text(is.highest_rpm) +
                      " rpm, no longer " + number_text(was.lowest_rpm) + " to " +
                      number_text(was.highest_rpm) + " rpm");
  }

  // Whatever it is called.
  bool same_window(std::size_t was, std::size_t is) const {
    return std::any_of(windows_.begin(), windows_.end(),
                       [&](const WindowChange& w) { return w.before == was && w.after == is; });
  }

  void power_up() {
    const std::optional<PowerUp>&was = before_.power_up, &is = after_.power_up;
    if (was && !is) said_.push_back("what the unit does when its supply comes back is no longer stated");
    if (!is) return;
    if (!was)
      said_.push_back("what the unit does when its supply comes back is new: it boots in " +
                      number_text(to_ms(is->boot_from)) + " to " + number_text(to_ms(is->boot_to)) + " ms");
    greeting(was ? was->greets : std::nullopt, is->greets);
    for (const Button& button : after_.buttons) {
      const Button* old = button_named(before_, button.name);
      const bool kept = was && old != nullptr && keeps(*was, button.name);
      if (keeps(*is, button.name) == kept) continue;
      said_.push_back("what button " + button.name + " did " +
                      (kept ? "no longer survives" : "now survives") + " a loss of power");
    }
  }

  void greeting(const std::optional<Greeting>& was, const std::optional<Greeting>& is) {
    const auto shown = [](const Gauge& gauge, const Greeting& g) { return gauge.describe(g.cue); };
    if (is && !was)
      said_.push_back("the unit greets with " + shown(after_, *is) + " for " + say_span(is->lasts) +
                      " when it wakes, where it did not greet");
    else if (was && !is)
      said_.push_back("the unit no longer greets when it wakes; it showed " + shown(before_, *was));
    else if (was && is && shown(before_, *was) != shown(after_, *is))
      said_.push_back("the unit greets with " + shown(after_, *is) + " when it wakes, no longer with " +
                      shown(before_, *was));
  }

  void supply() {
    const std::optional<SupplyRange>& is = after_.supply;
    if (before_.supply && !is) said_.push_back("what the unit may be fed is no longer stated");
    if (!before_.supply && is)
      said_.push_back("what the unit may be fed is new: " + number_text(is->lowest_v) + " to " +
                      number_text(is->highest_v) + " V");
  }

  const Gauge& before_;
  const Gauge& after_;
  const std::vector<WindowChange>& windows_;
  std::vector<std::string> said_;
};

}  // namespace

std::vector<std::string> button_changes(const Gauge& before, const Gauge& after,
                                        const std::vector<WindowChange>& windows) {
  return ButtonChanges(before, after, windows).all();
}

std::vector<NamedChange> power_numbers(const Gauge& before, const Gauge& after) {
  std::vector<NamedChange> all;
  if (before.power_up && after.power_up) {
    const PowerUp &was = *before.power_up, &is = *after.power_up;
    all.push_back({"time to boot at least", "ms", {to_ms(was.boot_from), to_ms(is.boot_from)}});
    all.push_back({"time to boot at most", "ms", {to_ms(was.boot_to), to_ms(is.boot_to)}});
    if (was.greets && is.greets)
      all.push_back({"greeting", "ms", {to_ms(was.greets->lasts), to_ms(is.greets->lasts)}});
  }
  if (before.supply && after.supply) {
    all.push_back({"supply at least", "V", {before.supply->lowest_v, after.supply->lowest_v}});
    all.push_back({"supply at most", "V", {before.supply->highest_v, after.supply->highest_v}});
  }
  return all;
}

}  // namespace tachproof
