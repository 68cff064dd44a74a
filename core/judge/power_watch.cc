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

const char* const nobody_cut = "nobody says that the supply was cut, and that it was back";

Nanos middle(Nanos from, Nanos to) { return from + (to - from) / 2; }
std::string say_doubt(Nanos half_width) { return half_width > 0 ? " +- " + say_span(half_width) : ""; }

}  // namespace

PowerWatch::PowerWatch(const Gauge& gauge, Channels wired, Nanos at, Nanos resolution)
    : gauge_(gauge),
      power_up_(gauge.power_up.value_or(PowerUp{})),
      wired_(wired & gauge.all_channels()),
      at_(at),
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
  std::vector<LampEvent> events = events_;
  // A unit that goes on as it was tells nothing new.
  if (cut_ && cut_->by_hand && (events.empty() || events.front().at > at_))
    events.insert(events.begin(), {at_, lit_before_});
  std::vector<Edge> edges;
  for (std::size_t c = 0; c < gauge_.channels(); ++c) {
    const Channels bit = Channels{1} << c;
    bool lit = false;
    Nanos went_dark = -1;
    for (const LampEvent& event : events) {
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
  Nanos from = events.empty() ? at_ : events.front().at;
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
  row.at = row.back_at = at_;
  if (!cut_) {
    row.remark = nobody_cut;
    return row;
  }
  row.at = middle(cut_->off_from, cut_->off_to);
  row.back_at = middle(cut_->on_from, cut_->on_to);
  const std::vector<Picture> all = pictures(until);
  if (until < awake_by(gauge_, cut_->on_to) || (events_.empty() && !cut_->by_hand)) {
    row.remark = "the lamps were not seen until the unit had to be awake";
    return row;
  }
  if (const std::string why = not_seen_cut(until); !why.empty()) {
    row.remark = why;
    return row;
  }
  row.verdict = Verdict::pass;
  say_lit(all, row, findings);
  if (gauge_.power_up) say_woken(all, dark_cue, row, findings);
  return row;
}

// The first that was lit when the unit had no supply any more.
const PowerWatch::Picture* PowerWatch::lit_while_off(const std::vector<Picture>& all) const {
  for (const Picture& picture : all) {
    const Nanos from = std::max(picture.from, cut_->off_to + afterglow),
                to = std::min(picture.to, cut_->on_from);
    if (picture.lit != 0 && to > from + gauge_.tolerance.settle + resolution_) return &picture;
  }
  return nullptr;
}

// Dark all the time that it was surely off, and for longer than a lamp that blinks is.
bool PowerWatch::was_seen_out(const std::vector<Picture>& all) const {
  const Nanos middle_of_off = middle(cut_->off_to + afterglow, cut_->on_from);
  const auto out = std::find_if(all.begin(), all.end(), [&](const Picture& picture) {
    return picture.from <= middle_of_off && picture.to > middle_of_off;
  });
  if (out == all.end() || out->lit != 0) return false;
  const bool any_blinks = std::any_of(gauge_.windows.begin(), gauge_.windows.end(),
                                      [](const Window& window) { return window.cue.blinking != 0; });
  const double slowest_hz = gauge_.blink ? std::max(gauge_.blink->hz - gauge_.tolerance.blink_hz, 0.1) : 1;
  const Nanos blink = any_blinks ? from_seconds(1 / slowest_hz) : 0;
  return out->to - out->from > blink;
}

std::string PowerWatch::not_seen_cut(Nanos until) const {
  if (!cut_) return nobody_cut;
  if (!cut_->by_hand) return "";
  const std::string said = "you said at " + say_time(cut_->off_to) + " that the supply was cut";
  if (cut_->on_from - cut_->off_to <= afterglow)
    return said + " and at " + say_time(cut_->on_to) + " that it was back: leave it off for longer than " +
           say_span(afterglow);
  const std::vector<Picture> all = pictures(until);
  const std::string look = ": look whether it really was, and whether the unit has no other supply";
  if (const Picture* lit = lit_while_off(all))
    return said + ", but " + gauge_.describe(lit->lit) + " was lit " +
           say_span(std::max(lit->from, cut_->off_to + afterglow) - cut_->off_to) + " after that" + look;
  if (lit_before_ != 0 || (!all.empty() && all.front().lit != 0)) {
    if (was_seen_out(all)) return "";
    return said + " and at " + say_time(cut_->on_to) +
           " that it was back; that is too short to see whether the unit was out: leave it off for longer";
  }
  // What is lit later is the rpm's own cue.
  const auto woke = woke_in(all);
  if (woke == all.end() || woke->from > awake_by(gauge_, cut_->on_to))
    return said +
           ", but no lamp was lit before, and none greeted: cut it at an rpm whose window lights a lamp";
  return "";
}

void PowerWatch::say_lit(const std::vector<Picture>& all, PowerResult& row,
                         std::vector<Finding>& findings) const {
  const Nanos off_for = cut_->on_from - cut_->off_to;  // at least
  if (off_for <= afterglow) {
    row.verdict = Verdict::undecided;
    row.remark = "the supply was off for " + say_span(std::max<Nanos>(off_for, 0)) +
                 ": cut it for longer than " + say_span(afterglow) +
                 ", or nobody can say that the unit lost it";
    return;
  }
  const Picture* picture = lit_while_off(all);
  if (picture == nullptr) return;
  row.verdict = Verdict::fail;
  findings.push_back({FindingKind::wrong_cue, std::max(picture->from, cut_->off_to + afterglow), "",
                      gauge_.describe(picture->lit),
                      gauge_.describe(picture->lit) + " stayed lit for " +
                          say_span(std::min(picture->to, cut_->on_from) - cut_->off_from) +
                          " after the supply was cut at " + say_time(row.at) +
                          ": check that the relay cuts the unit's supply"});
}

// The first lamp after it was out.
std::vector<PowerWatch::Picture>::const_iterator PowerWatch::woke_in(const std::vector<Picture>& all) const {
  const Nanos off_for = std::max<Nanos>(cut_->on_from - cut_->off_to, 0);
  return std::find_if(all.begin(), all.end(), [&](const Picture& picture) {
    return picture.lit != 0 && picture.to > cut_->on_from &&
           picture.from >= cut_->off_to + std::min(afterglow, off_for);
  });
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
  const auto woke = woke_in(all);
  const Nanos slack =
      gauge_.tolerance.settle + 2 * resolution_ + (power_up_.greets ? 0 : gauge_.tolerance.response_to);
  if (woke == all.end()) {
    row.verdict = Verdict::fail;
    findings.push_back({FindingKind::slow_boot, row.back_at, "", "",
                        "no lamp was lit within " + say_span(all.back().to - cut_->on_to) +
                            " after the supply came back at " + say_time(row.back_at) + "; at most " +
                            say_span(power_up_.boot_to) + " is set"});
    return;
  }
  // It had its supply when it woke.
  const Nanos on_to = std::max(cut_->on_from, std::min(cut_->on_to, woke->from));
  const Nanos half_width = (on_to - cut_->on_from) / 2;
  row.back_at = cut_->on_from + half_width;
  const Nanos boot = std::max<Nanos>(woke->from - row.back_at, 0);
  const Nanos shortest = std::max<Nanos>(woke->from - on_to, 0), longest = woke->from - cut_->on_from;
  row.boot_ms = to_ms(boot);
  row.expanded_uncertainty_ms = to_ms(2 * resolution_ + gauge_.tolerance.settle / 2 + half_width);
  const bool slow = shortest > power_up_.boot_to + slack;
  if (slow || longest + slack < power_up_.boot_from) {
    row.verdict = Verdict::fail;
    findings.push_back({slow ? FindingKind::slow_boot : FindingKind::early, woke->from, "", "",
                        "the unit woke " + say_span(boot) + say_doubt(half_width) +
                            " after its supply came back at " + say_time(row.back_at) + "; set: from " +
                            say_span(power_up_.boot_from) + " to " + say_span(power_up_.boot_to)});
  } else if (longest > power_up_.boot_to + slack || shortest + slack < power_up_.boot_from) {
    row.verdict = worst(row.verdict, Verdict::undecided);
    row.remark = "the unit woke " + say_span(shortest) + " to " + say_span(longest) +
                 " after its supply came back; set: from " + say_span(power_up_.boot_from) + " to " +
                 say_span(power_up_.boot_to) +
                 ". Let the rig switch the supply, so that the instant is known better";
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
