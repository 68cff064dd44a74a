#include <algorithm>
#include <cmath>
#include <limits>

#include "core/base/words.h"
#include "core/gauge/settings_change.h"

namespace tachproof {
namespace {

// Free of what arithmetic left behind.
std::string number(double value) { return number_text(std::round(value * 1e6) / 1e6); }

std::string up_or_down(const NumberChange& c) {
  return (c.by() > 0 ? "up " : "down ") + number(std::fabs(c.by())) + " rpm (" + number(c.before) + " to " +
         number(c.after) + ")";
}

std::string listed(const std::vector<std::string>& names) {
  std::string text;
  for (const std::string& name : names) text += (text.empty() ? "" : ", ") + name;
  return text;
}

// ", from 59.998 km/h +-0.31 to 61.1 km/h +-0.32"; empty without a drive.
template <class Change>
std::string in_speed(const Change& change) {
  const std::string &was = change.speed_before, &is = change.speed_after;
  if (was.empty() || is.empty())
    return was.empty() && is.empty() ? "" : ", which is " + (is.empty() ? was : is);
  return ", from " + was + " to " + is;
}

bool same_way(double a, double b) { return std::fabs(a - b) < 1e-6; }

// Anchors that move alike are said together: which of them a boundary hangs on
// does not matter then.
void say_anchors(const SettingsChange& change, std::vector<std::string>& said) {
  std::vector<bool> done(change.anchors.size(), false);
  for (std::size_t i = 0; i < change.anchors.size(); ++i) {
    const NamedChange& anchor = change.anchors[i];
    if (std::isnan(anchor.value.before)) {
      said.push_back("anchor " + anchor.name + " is new, at " + number(anchor.value.after) + " rpm" +
                     in_speed(anchor));
    } else if (std::isnan(anchor.value.after)) {
      said.push_back("anchor " + anchor.name + " is gone; it was at " + number(anchor.value.before) + " rpm" +
                     in_speed(anchor));
    } else if (!done[i]) {
      std::vector<std::string> moves;
      for (std::size_t k = i; k < change.anchors.size(); ++k) {
        if (!same_way(change.anchors[k].value.by(), anchor.value.by())) continue;
        done[k] = true;
        moves.push_back("anchor " + change.anchors[k].name + " moves " + up_or_down(change.anchors[k].value) +
                        in_speed(change.anchors[k]));
      }
      std::vector<std::string> followers;
      for (const WindowChange& w : change.windows)
        if (w.moved() && same_way(w.from_rpm.by(), anchor.value.by())) followers.push_back(w.name);
      const std::string with = moves.size() > 1 ? "with them" : "with it";
      said.push_back(listed(moves) + ": " +
                     (followers.empty() ? "no boundary moves "
                                        : listed(followers) + (followers.size() > 1 ? " move " : " moves ")) +
                     with);
    }
  }
}

bool follows_an_anchor(const SettingsChange& change, const WindowChange& w) {
  return std::any_of(change.anchors.begin(), change.anchors.end(),
                     [&](const NamedChange& anchor) { return same_way(w.from_rpm.by(), anchor.value.by()); });
}

void say_windows(const SettingsChange& change, std::vector<std::string>& said) {
  for (const WindowChange& w : change.windows) {
    if (!w.before)
      said.push_back("window " + w.name + " is new, from " + number(w.from_rpm.after) +
                     " rpm: " + w.cue_after);
    else if (!w.after)
      said.push_back("window " + w.name + " is gone; it began at " + number(w.from_rpm.before) + " rpm");
    else if (!w.was_called.empty())
      said.push_back("window " + w.was_called + " is now called " + w.name);
  }
  for (const WindowChange& w : change.windows)
    if (w.moved() && !follows_an_anchor(change, w))
      said.push_back(w.name + " moves " + up_or_down(w.from_rpm) + in_speed(w));
  for (const WindowChange& w : change.windows)
    if (w.cue_changed()) said.push_back(w.name + " shows " + w.cue_after + ", no longer " + w.cue_before);
}

void say_numbers(const SettingsChange& change, std::vector<std::string>& said) {
  for (const NamedChange& n : change.numbers) {
    const std::string unit = n.unit.empty() ? "" : " " + n.unit;
    if (std::isnan(n.value.before))
      said.push_back(n.name + " " + number(n.value.after) + unit + ", where there was none");
    else if (std::isnan(n.value.after))
      said.push_back("no " + n.name + ", where there was " + number(n.value.before) + unit);
    else
      said.push_back(n.name + " " + number(n.value.before) + " to " + number(n.value.after) + unit);
  }
  if (change.sits_before != change.sits_after)
    said.push_back("deadband sits " + std::string(words_of(change.sits_after)) + ", no longer " +
                   std::string(words_of(change.sits_before)));
}

// Where on the rpm scale something changes.
struct Span {
  double lowest = std::numeric_limits<double>::infinity();
  double highest = -std::numeric_limits<double>::infinity();
  void add(double rpm) {
    if (std::isnan(rpm)) return;
    lowest = std::min(lowest, rpm);
    highest = std::max(highest, rpm);
  }
};

double next_boundary(const SettingsChange& change, std::size_t at, bool after) {
  for (std::size_t i = at + 1; i < change.windows.size(); ++i) {
    const WindowChange& w = change.windows[i];
    if (after ? w.after.has_value() : w.before.has_value())
      return after ? w.from_rpm.after : w.from_rpm.before;
  }
  return std::numeric_limits<double>::infinity();
}

Span changed_span(const SettingsChange& change) {
  Span span;
  for (std::size_t i = 0; i < change.windows.size(); ++i) {
    const WindowChange& w = change.windows[i];
    const bool whole = w.before.has_value() != w.after.has_value() || w.cue_changed();
    if (!whole && !w.moved()) continue;
    for (const NumberChange* c : {&w.from_rpm, &w.rising_rpm, &w.falling_rpm}) {
      span.add(c->before);
      span.add(c->after);
    }
    if (whole) {
      if (w.before) span.add(next_boundary(change, i, false));
      if (w.after) span.add(next_boundary(change, i, true));
    }
  }
  return span;
}

void say_unchanged(const SettingsChange& change, std::vector<std::string>& said) {
  const Span span = changed_span(change);
  if (span.lowest > span.highest) {
    said.push_back("everything else unchanged");
    return;
  }
  std::vector<std::string> everywhere;
  for (const NamedChange& n : change.numbers) everywhere.push_back(n.name);
  if (change.sits_before != change.sits_after) everywhere.push_back("where the deadband sits");
  if (!change.buttons.empty()) everywhere.push_back("buttons and power");
  const std::string but = everywhere.empty() ? "" : "apart from " + listed(everywhere) + ", ";
  bool below = false, above = false;
  for (const WindowChange& w : change.windows) {
    if (!w.before || !w.after || *w.after == 0) continue;
    below = below || std::max(w.rising_rpm.before, w.rising_rpm.after) < span.lowest;
    above = above || std::min(w.falling_rpm.before, w.falling_rpm.after) > span.highest;
  }
  if (below) said.push_back(but + "everything below " + number(span.lowest) + " rpm unchanged");
  if (above) said.push_back(but + "everything above " + number(span.highest) + " rpm unchanged");
}

}  // namespace

std::vector<std::string> sentences(const SettingsChange& change) {
  std::vector<std::string> said;
  if (change.name_before != change.name_after)
    said.push_back("the gauge is called " + change.name_after + ", no longer " + change.name_before);
  said.insert(said.end(), change.lamps.begin(), change.lamps.end());
  said.insert(said.end(), change.drive.begin(), change.drive.end());
  say_anchors(change, said);
  say_windows(change, said);
  say_numbers(change, said);
  said.insert(said.end(), change.buttons.begin(), change.buttons.end());
  if (!said.empty()) say_unchanged(change, said);
  return said;
}

}  // namespace tachproof
