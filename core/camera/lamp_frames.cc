#include "core/camera/lamp_frames.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <limits>
#include <utility>

#include "core/base/text.h"

namespace tachproof {
namespace {

constexpr int fast_frames = 2;     // a phase seen in this many frames or fewer is quick
constexpr int quick_in_a_row = 4;  // such phases are no blink that frames can follow
constexpr int fading_frames = 3;   // between dark and full, for a change: an exposure straddles one or two
constexpr int often_two = 3;       // of the last eight changes: a switch seldom takes two frames
// A switch falls into an exposure as often as the shutter is open. Rarer than this by
// chance, it is no switch.
constexpr double too_rare = 1e-4;
constexpr int least_fadings = 3;
constexpr int least_other = 3;  // frames in no taught colour: two lie across a change of colour
constexpr std::size_t most_other_sights = 1000;
constexpr double alike = 0.06;           // of chromaticity
constexpr int frames_that_date = 2;      // after the one that shows a change
constexpr std::size_t most_sights = 10;  // before it, for how bright the lamp was

int state_of(const LampLook& look) {
  return look.state == LampLook::State::dark ? lamp_dark : static_cast<int>(look.colour);
}

}  // namespace

LampFrames::LampFrames(Setup setup) : setup_(std::move(setup)), lamps_(setup_.readout.size()) {}

std::string say_frame(const FrameMark& frame) {
  return "frame " + std::to_string(frame.number) + " (" + say_time(frame.at) + ")";
}

std::string LampFrames::name(std::size_t index) const {
  return index < setup_.names.size() ? "lamp " + setup_.names[index] : "a lamp";
}

void LampFrames::add(Nanos at, std::span<const LampLook> looks, std::uint64_t number) {
  number_ = number;
  for (std::size_t i = 0; i < lamps_.size() && i < looks.size(); ++i) {
    see(i, at + setup_.readout[i], looks[i]);
    if (lamps_[i].pending && lamps_[i].pending->frames++ >= frames_that_date) settle(i);
  }
  if (!begun_ && std::all_of(lamps_.begin(), lamps_.end(), [](const Lamp& l) { return l.known; })) {
    begun_ = true;
    for (const Lamp& lamp : lamps_) {
      initial_.push_back(lamp.state);
      begun_at_ = std::max(begun_at_, lamp.seen);
    }
    // Those before all were known are part of the first picture.
    changes_.clear();
    for (Lamp& lamp : lamps_) lamp.pending.reset();
  }
}

double LampFrames::level(std::size_t index, int state) const {
  if (state < 0) return 0;
  if (index >= setup_.levels.size()) return 1;
  return setup_.levels[index].at(static_cast<std::size_t>(state));
}

// How far from the middle of an exposure a change may lie that shows in it.
Nanos LampFrames::reach(std::size_t index) const {
  return setup_.exposure_within.to / 2 + (index < setup_.rows.size() ? setup_.rows[index] : 0);
}

void LampFrames::remember(Lamp& lamp, Nanos at, const LampLook& look) const {
  if (lamp.sights.size() == most_sights) lamp.sights.erase(lamp.sights.begin());
  lamp.sights.push_back({at, look.light, look.open, look.state == LampLook::State::dark,
                         look.state == LampLook::State::lit || look.state == LampLook::State::other});
}

void LampFrames::see_other(std::size_t index, Nanos at, const LampLook& look) {
  Lamp& lamp = lamps_[index];
  OtherColour& other = lamp.other;
  if (other.frames == 0) other = {index, mark(at), mark(at), 0, 0, 0, ++lamp.others};
  ++other.frames;
  other.to = mark(at);
  if (lamp.other_sights.size() < most_other_sights)
    lamp.other_sights.push_back({look.light, look.red, look.green});
  lamp.between = 0;
  lamp.changed_amid = false;
  if (other.frames < least_other) return;
  if (!lamp.known)
    lamp.known = true, lamp.state = lamp_other;
  else if (lamp.state != lamp_other)
    change(index, other.from.at, lamp_other);
  lamp.seen = at;
}

OtherColour LampFrames::steady_part(Lamp& lamp) {
  double brightest = 0;
  for (const Lamp::OtherSight& sight : lamp.other_sights) brightest = std::max(brightest, sight.light);
  OtherColour steady = lamp.other;
  steady.frames = 0;
  steady.red = steady.green = 0;
  const auto take = [&](double red, double green, int frames) {
    steady.frames += frames;
    steady.red += (red - steady.red) * frames / steady.frames;
    steady.green += (green - steady.green) * frames / steady.frames;
  };
  for (const Lamp::OtherSight& sight : lamp.other_sights)
    if (sight.light >= (1 - steady_ripple) * brightest) take(sight.red, sight.green, 1);
  const OtherColour& before = lamp.steady;
  if (before.frames > 0 && std::hypot(before.red - steady.red, before.green - steady.green) < alike)
    take(before.red, before.green, before.frames);
  lamp.steady = steady;
  return steady;
}

void LampFrames::end_other(Lamp& lamp) {
  if (lamp.state == lamp_other && lamp.other.frames > 0)
    others_.push_back(steady_part(lamp));
  else if (lamp.other.frames > 0)
    --lamp.others;
  lamp.other = {};
  lamp.other_sights.clear();
}

std::vector<OtherColour> LampFrames::take_others(bool now) {
  for (Lamp& lamp : lamps_)
    if (now && lamp.state == lamp_other) end_other(lamp);
  return std::exchange(others_, {});
}

void LampFrames::see(std::size_t index, Nanos at, const LampLook& look) {
  Lamp& lamp = lamps_[index];
  remember(lamp, at, look);
  if (look.state == LampLook::State::other) {
    see_other(index, at, look);
    return;
  }
  const bool clear = look.state != LampLook::State::unclear;
  const int state = state_of(look);
  if (!lamp.known) {
    if (clear) lamp.known = true, lamp.state = state, lamp.seen = at, lamp.frames_in_state = 1;
    return;
  }
  const bool was_other = lamp.state == lamp_other;
  const int odd = was_other ? 0 : lamp.other.frames;
  if (clear) end_other(lamp);
  const bool changed = clear && state != lamp.state, between = !clear || look.weak;
  const int were_between = lamp.between;
  const bool ends_change = clear && !look.weak && (changed || (lamp.changed_amid && were_between > 0));
  lamp.between = between ? lamp.between + 1 : 0;
  lamp.changed_amid = changed ? between || were_between > 0 : lamp.changed_amid && between;
  if (lamp.changed_amid && std::max(were_between, lamp.between) >= fading_frames) {
    lamp.changed_amid = false;
    if (!was_other)
      lose(
          at,
          name(index) + " was neither dark nor fully lit for " +
              std::to_string(std::max(were_between, lamp.between)) + " frames at " + say_frame(mark(at)) +
              ", and a lamp that switches is so for 2 at most",
          "if it is dimmed, film with an exposure of a whole number of its dimming's periods; if not, it may "
          "be less bright than it was taught: teach again");
  }
  if (ends_change && !was_other) note_fading(index, were_between, at);
  if (!clear) return;
  // Once it was in no taught colour for longer, a brief time in one is more of that.
  const bool known_other = was_other || (odd > 0 && lamp.others > 0);
  if (begun_ && !known_other && at - lamp.seen > setup_.longest_unseen)
    lose(lamp.seen,
         name(index) + " could not be read for " + say_span(at - lamp.seen) + ", until " +
             say_frame(mark(at)) +
             (odd > 0 ? "; it was lit in a colour that it was not taught, too briefly to be sure" : ""),
         odd > 0 ? "hold the rpm there for longer"
                 : "look for glare, a hand in front of it or missing frames, and film again");
  if (changed) {
    change(index, at, state);
  } else if (++lamp.frames_in_state > fast_frames) {
    lamp.quick_phases = 0;
  }
  lamp.seen = at;
}

// Dimming that beats with the shutter may come and go within two frames, as a
// blink of its own: it does so at every change.
void LampFrames::note_fading(std::size_t index, int between, Nanos at) {
  Lamp& lamp = lamps_[index];
  const auto with = [](std::uint8_t& last, bool one) {
    last = static_cast<std::uint8_t>(last << 1 | (one ? 1 : 0));
  };
  with(lamp.with_one, between >= 1);
  with(lamp.with_two, between >= 2);
  lamp.fadings = std::min(lamp.fadings + 1, 8);
  const double period = static_cast<double>(setup_.longest_unseen) / frames_in_longest_unseen;
  // All of those that there were, by chance.
  const double open = std::min(1.0, static_cast<double>(setup_.exposure) / period);
  const bool always_one = lamp.fadings >= least_fadings && std::popcount(lamp.with_one) == lamp.fadings &&
                          std::pow(open, lamp.fadings) < too_rare;
  if (lamp.fades || (std::popcount(lamp.with_two) < often_two && !always_one)) return;
  lamp.fades = true;
  lose(at,
       always_one ? name(index) + " was caught half lit at each of its last " + std::to_string(lamp.fadings) +
                        " changes, the last at " + say_frame(mark(at)) + ", though the shutter is open for " +
                        decimal(100 * open, 0) + " % of the time only"
                  : name(index) + " was half lit for 2 frames or more at " +
                        std::to_string(std::popcount(lamp.with_two)) + " of its last " +
                        std::to_string(lamp.fadings) + " changes, the last at " + say_frame(mark(at)),
       "if it is dimmed, film with an exposure of a whole number of its dimming's periods; if not, it lights "
       "too slowly for this exposure: film with a longer one");
}

void LampFrames::change(std::size_t index, Nanos at, int state) {
  Lamp& lamp = lamps_[index];
  lamp.quick_phases = lamp.frames_in_state <= fast_frames ? lamp.quick_phases + 1 : 0;
  if (lamp.quick_phases == quick_in_a_row)
    lose(at,
         name(index) + " changed faster than the camera can follow: " + std::to_string(quick_in_a_row) +
             " times in a row after " + std::to_string(fast_frames) + " frames or fewer, up to " +
             say_frame(mark(at)),
         "if it blinks, film with more frames a second; if it is dimmed, film with an exposure of a whole "
         "number of its dimming's periods");
  const bool is_brief = lamp.frames_in_state < 2;
  if (lamp.pending) {
    lamp.pending->is_brief = lamp.pending->is_brief || is_brief;
    settle(index);
  }
  const Nanos slack = reach(index);
  lamp.pending = {{lamp.seen - slack, at + slack, {{index, lamp.state, state}}, is_brief, mark(at)},
                  lamp.seen,
                  0,
                  is_brief};
  lamp.state = state;
  lamp.frames_in_state = 1;
}

// Only what was clearly seen counts: the next change may have begun already.
void LampFrames::settle(std::size_t index) {
  Lamp& lamp = lamps_[index];
  Lamp::Pending pending = *std::exchange(lamp.pending, std::nullopt);
  const LampChange& change = pending.span.changes[0];
  const bool comes_on = change.from == lamp_dark, goes_off = change.to == lamp_dark;
  const auto from = std::find_if(lamp.sights.begin(), lamp.sights.end(),
                                 [&](const LampSight& s) { return s.at >= pending.from; });
  const auto to = std::find_if(from, lamp.sights.end(), [&](const LampSight& s) { return s.at > lamp.seen; });
  if (comes_on || goes_off) {
    // When it goes off, how bright it was lies before the change.
    double full = 0, open = 0;
    for (auto sight = comes_on ? from : lamp.sights.begin(); sight != to; ++sight)
      if (sight->is_lit && sight->light > full) full = sight->light, open = sight->open;
    if (full > 0)
      full = std::max(full, (1 - steady_ripple) * level(index, comes_on ? change.to : change.from));
    const Nanos rows = index < setup_.rows.size() ? setup_.rows[index] : 0;
    const DatedSpan widest{pending.span.after + rows, pending.span.before - rows};
    // One frame between two changes may hold both, and then its light dates neither.
    std::vector<LampSight> told(from, to);
    if (pending.is_brief) std::erase_if(told, [](const LampSight& s) { return !s.is_dark; });
    const DatedSpan dated = date_change(comes_on, told, full, open, setup_.exposure_within, widest);
    pending.span.after = dated.after - rows;
    pending.span.before = dated.before + rows;
  }
  // Changes of one lamp stay in their order.
  DatedSpan& last = lamp.last;
  if (std::exchange(lamp.any_change, true)) {
    pending.span.after = std::max(pending.span.after, last.after);
    pending.span.before = std::max(pending.span.before, last.before);
  }
  last = {pending.span.after, pending.span.before};
  // What is older is of another state.
  lamp.sights.erase(lamp.sights.begin(), from);
  put(std::move(pending.span));
}

void LampFrames::put(ChangeSpan span) {
  const auto place =
      std::upper_bound(changes_.begin(), changes_.end(), span,
                       [](const ChangeSpan& a, const ChangeSpan& b) { return a.before < b.before; });
  changes_.insert(place, std::move(span));
}

// No change that is still to be seen begins before this.
std::optional<Nanos> LampFrames::seen_until() const {
  if (!begun_) return std::nullopt;
  Nanos until = std::numeric_limits<Nanos>::max();
  for (std::size_t i = 0; i < lamps_.size(); ++i) {
    const Lamp& lamp = lamps_[i];
    until = std::min(until, lamp.pending ? lamp.pending->span.after : lamp.seen - reach(i));
  }
  return until;
}

std::optional<Nanos> LampFrames::known_until() const {
  const std::optional<Nanos> until = seen_until();
  return until && !changes_.empty() ? std::min(*until, changes_.front().after) : until;
}

// A lamp that changes twice while others change too was caught by the shutter on
// its way through windows that hardly stood: only where it arrives counts.
void LampFrames::join(const ChangeSpan& next, ChangeSpan& group) {
  const LampChange& change = next.changes[0];
  for (LampChange& own : group.changes)
    if (own.lamp == change.lamp) {
      own.to = change.to;
      return;
    }
  group.after = std::min(std::max(group.after, next.after), group.before);
  group.changes.push_back(change);
}

// A group that some lamp passed through more than once lasts until that lamp arrived; those that differ in
// the end are dated by the last of them.
ChangeSpan LampFrames::joined(std::span<const ChangeSpan> all, bool passes_through) {
  ChangeSpan group = all[0];
  for (const ChangeSpan& next : all.subspan(1)) join(next, group);
  std::erase_if(group.changes, [](const LampChange& c) { return c.from == c.to; });
  if (!passes_through || group.changes.empty()) return group;
  group.after = group.before = std::numeric_limits<Nanos>::min();
  for (const ChangeSpan& one : all)
    if (std::any_of(group.changes.begin(), group.changes.end(), [&](const LampChange& c) {
          return c.lamp == one.changes[0].lamp && c.to == one.changes[0].to;
        })) {
      group.after = std::max(group.after, one.after);
      group.before = std::max(group.before, one.before);
    }
  return group;
}

std::vector<ChangeSpan> LampFrames::take() {
  std::vector<ChangeSpan> out;
  const std::optional<Nanos> until = seen_until();
  if (!until) return out;
  const Nanos doubt = 2 * setup_.doubt;
  auto at = changes_.begin();
  while (at != changes_.end()) {
    const auto lamp_of = [](const ChangeSpan& span) { return span.changes[0].lamp; };
    Nanos reach = at->before;
    bool passes_through = false;
    auto end = at + 1;
    for (; end != changes_.end(); ++end) {
      const bool again =
          std::any_of(at, end, [&](const ChangeSpan& s) { return lamp_of(s) == lamp_of(*end); });
      const bool others =
          std::any_of(at, end, [&](const ChangeSpan& s) { return lamp_of(s) != lamp_of(*end); });
      // What one frame alone shows of several lamps may be of more than one picture.
      if (end->after >= reach + doubt && !(again && others && end->ends_brief)) break;
      if (!again) continue;
      reach = std::max(reach, end->before);
      passes_through = true;
    }
    // By itself, a lamp that changes again so soon has flashed.
    if (std::all_of(at, end, [&](const ChangeSpan& s) { return lamp_of(s) == lamp_of(*at); })) {
      end = at + 1;
      reach = at->before;
      passes_through = false;
    }
    // Where some were passed through, what stays for a frame or two more and then goes, too, is what is
    // left of several pictures.
    if (passes_through) {
      reach = std::max(reach, at->before + setup_.longest_unseen);
      auto far = end;
      while (far != changes_.end() && far->after < at->before + setup_.longest_unseen) ++far;
      if (joined({at, far}, true).changes.empty()) end = far;
    }
    if (reach + doubt > *until) break;
    ChangeSpan group = joined({at, end}, passes_through);
    if (!group.changes.empty()) out.push_back(std::move(group));
    at = end;
  }
  changes_.erase(changes_.begin(), at);
  return out;
}

}  // namespace tachproof
