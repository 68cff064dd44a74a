#include "core/judge/power_watch.h"

#include <algorithm>

#include "core/base/text.h"

namespace tachproof {
namespace {

// What the unit's own capacitors may keep a lamp lit for.
constexpr Nanos afterglow = 200 * ns_per_ms;
// A lamp that is dimmed is dark for less than this between two pulses.
constexpr Nanos dimmed_gap = 25 * ns_per_ms;
// A greeting is timed by the unit's own clock.
Nanos greeting_slack(Nanos lasts) { return lasts / 10 + 2 * dimmed_gap; }

}  // namespace

PowerWatch::PowerWatch(const Gauge& gauge, Channels wired, Nanos off_at, Nanos on_at, Nanos resolution)
    : gauge_(gauge),
      power_up_(gauge.power_up.value_or(PowerUp{})),
      wired_(wired & gauge.all_channels()),
      off_at_(off_at),
      on_at_(on_at),
      resolution_(resolution) {}

Nanos PowerWatch::awake_by(const Gauge& gauge, Nanos on_at) {
  // A unit of which the file says nothing has a second.
  constexpr Nanos unsaid = ns_per_s;
  Nanos by = on_at + (gauge.power_up ? gauge.power_up->boot_to : unsaid);
  if (gauge.power_up && gauge.power_up->greets) {
    const Nanos lasts = gauge.power_up->greets->lasts;
    by += lasts + greeting_slack(lasts);
  }
  return by;
}

void PowerWatch::lamps(const LampEvent& event) { events_.push_back({event.at, event.lit & wired_}); }

// Lamps as a person sees them: dimming filled in, moves of one change joined.
std::vector<PowerWatch::Picture> PowerWatch::pictures(Nanos until) const {
  // A channel counts as lit until it has been dark for longer than a dimmed one would be.
  struct Edge {
    Nanos at;
    std::size_t channel;
    bool on;
  };
  std::vector<Edge> edges;
  for (std::size_t c = 0; c < gauge_.channels(); ++c) {
    const Channels bit = Channels{1} << c;
    bool lit = false;
    Nanos went_dark = -1;
    for (const LampEvent& event : events_) {
      const bool on = event.lit & bit;
      if (on && !lit) {
        if (went_dark >= 0 && event.at - went_dark > dimmed_gap) edges.push_back({went_dark, c, false});
        if (went_dark < 0 || event.at - went_dark > dimmed_gap) edges.push_back({event.at, c, true});
      } else if (!on && lit) {
        went_dark = event.at;
      }
      lit = on;
    }
    if (!lit && went_dark >= 0) edges.push_back({went_dark, c, false});
  }
  std::stable_sort(edges.begin(), edges.end(), [](const Edge& a, const Edge& b) { return a.at < b.at; });
  const Nanos joined = gauge_.tolerance.settle + resolution_;
  std::vector<Picture> all;
  Channels lit = 0;
  Nanos from = events_.empty() ? off_at_ : events_.front().at;
  for (std::size_t i = 0; i < edges.size();) {
    const Nanos at = edges[i].at;
    const Channels before = lit;
    Nanos last = at;
    for (; i < edges.size() && edges[i].at - at <= joined; ++i) {
      const Channels bit = Channels{1} << edges[i].channel;
      lit = edges[i].on ? lit | bit : lit & ~bit;
      last = edges[i].at;
    }
    if (at > from) all.push_back({from, at, before});
    from = last;
  }
  if (until > from) all.push_back({from, until, lit});
  return all;
}

PowerResult PowerWatch::finish(Nanos until, bool dark_cue, std::vector<Finding>& findings) const {
  PowerResult row;
  row.at = off_at_;
  row.back_at = on_at_;
  const std::vector<Picture> all = pictures(until);
  if (until < awake_by(gauge_, on_at_) || events_.empty()) {
    row.remark = "the lamps were not seen until the unit had to be awake";
    return row;
  }
  row.verdict = Verdict::pass;
  say_lit(all, row, findings);
  if (gauge_.power_up) say_woken(all, dark_cue, row, findings);
  return row;
}

void PowerWatch::say_lit(const std::vector<Picture>& all, PowerResult& row,
                         std::vector<Finding>& findings) const {
  if (on_at_ - off_at_ <= afterglow) {
    row.verdict = Verdict::undecided;
    row.remark = "the supply was off for " + say_span(on_at_ - off_at_) + ": cut it for longer than " +
                 say_span(afterglow) + ", or nobody can say that the unit lost it";
    return;
  }
  for (const Picture& picture : all) {
    const Nanos from = std::max(picture.from, off_at_ + afterglow), to = std::min(picture.to, on_at_);
    if (picture.lit == 0 || to <= from + gauge_.tolerance.settle + resolution_) continue;
    row.verdict = Verdict::fail;
    findings.push_back({FindingKind::wrong_cue, from, "", gauge_.describe(picture.lit),
                        gauge_.describe(picture.lit) + " stayed lit for " + say_span(to - off_at_) +
                            " after the supply was cut at " + say_time(off_at_) +
                            ": check that the relay cuts the unit's supply"});
    return;
  }
}

void PowerWatch::say_woken(const std::vector<Picture>& all, bool dark_cue, PowerResult& row,
                           std::vector<Finding>& findings) const {
  if (!power_up_.greets && dark_cue) {
    row.verdict = worst(row.verdict, Verdict::undecided);
    row.remark =
        "at this rpm the unit shows nothing, so that nobody sees it wake: cut the supply at an rpm whose "
        "window lights a lamp";
    return;
  }
  const auto woke = std::find_if(all.begin(), all.end(), [&](const Picture& picture) {
    return picture.lit != 0 && picture.to > on_at_ &&
           picture.from >= off_at_ + std::min(afterglow, on_at_ - off_at_);
  });
  const Nanos slack =
      gauge_.tolerance.settle + 2 * resolution_ + (power_up_.greets ? 0 : gauge_.tolerance.response_to);
  if (woke == all.end()) {
    row.verdict = Verdict::fail;
    findings.push_back({FindingKind::slow_boot, on_at_, "", "",
                        "no lamp was lit within " + say_span(all.back().to - on_at_) +
                            " after the supply came back at " + say_time(on_at_) + "; at most " +
                            say_span(power_up_.boot_to) + " is set"});
    return;
  }
  const Nanos boot = std::max<Nanos>(woke->from - on_at_, 0);
  row.boot_ms = to_ms(boot);
  row.expanded_uncertainty_ms = to_ms(2 * resolution_ + gauge_.tolerance.settle / 2);
  if (boot > power_up_.boot_to + slack || boot + slack < power_up_.boot_from) {
    const bool slow = boot > power_up_.boot_to;
    row.verdict = Verdict::fail;
    findings.push_back({slow ? FindingKind::slow_boot : FindingKind::early, woke->from, "", "",
                        "the unit woke " + say_span(boot) + " after its supply came back at " +
                            say_time(on_at_) + "; set: from " + say_span(power_up_.boot_from) + " to " +
                            say_span(power_up_.boot_to)});
  }
  if (power_up_.greets) say_greeted(all, woke->from, row, findings);
}

void PowerWatch::say_greeted(const std::vector<Picture>& all, Nanos woke, PowerResult& row,
                             std::vector<Finding>& findings) const {
  const Greeting& greeting = *power_up_.greets;
  const Channels steady = greeting.cue.steady & wired_, blinking = greeting.cue.blinking & wired_;
  const auto greets = [&](Channels lit) { return (lit & ~blinking) == steady; };
  const Nanos slack = greeting_slack(greeting.lasts);
  Nanos greeted = 0;
  for (const Picture& picture : all) {
    if (picture.to <= woke) continue;
    const Nanos to = std::min(picture.to, woke + greeting.lasts - slack);
    if (greets(picture.lit) && std::max(picture.from, woke) <= woke + greeted + gauge_.tolerance.settle) {
      greeted = picture.to - woke;
      continue;
    }
    if (picture.from >= woke + greeting.lasts - slack ||
        to - std::max(picture.from, woke) <= gauge_.tolerance.settle)
      break;
    row.verdict = Verdict::fail;
    findings.push_back({FindingKind::wrong_greeting, std::max(picture.from, woke), "", "",
                        "the unit greets with " + gauge_.describe(greeting.cue) + " for " +
                            say_span(greeting.lasts) + "; at " + say_time(std::max(picture.from, woke)) +
                            " it showed " + gauge_.describe(picture.lit)});
    row.greeted_ms = to_ms(greeted);
    return;
  }
  row.greeted_ms = to_ms(greeted);
}

}  // namespace tachproof
