#include <algorithm>
#include <functional>

#include "tests/study/pair.h"

namespace tachproof::study {
namespace {

struct Room {
  Pair& pair;
  const Oracle& oracle;
  PlainGauge gauge;
  Draw& draw;
  Unit& unit;
  double times() const { return draw.chance(0.4) ? draw.between(1.06, 1.6) : draw.log_between(1.6, 30); }
  std::size_t boundary() const { return 1 + draw.index(gauge.boundaries()); }

  // Thresholds stay in order.
  bool in_order() const {
    for (std::size_t b = 1; b <= gauge.boundaries(); ++b) {
      if (unit.falling[b] > unit.rising[b] || unit.falling[b] < 0.6 * gauge.falling[1]) return false;
      if (b > 1 && (unit.rising[b] <= unit.rising[b - 1] + 1 || unit.falling[b] <= unit.falling[b - 1] + 1))
        return false;
    }
    return true;
  }
  bool move(std::size_t b, bool up, bool down) const {
    const double by = draw.sign() * (times() * gauge.t_rpm + 1.1 * resolution_rpm(unit));
    if (up) unit.rising[b] = gauge.rising[b] + by;
    if (down) unit.falling[b] = gauge.falling[b] + by;
    pair.magnitude = std::abs(by) / gauge.t_rpm;
    pair.blink_only = blink_only(gauge.cues[b - 1], gauge.cues[b]);
    return in_order();
  }
  // A window that every sound unit rests in; its neighbour otherwise.
  std::size_t rested() const {
    for (int i = 0; i < 20; ++i)
      if (const std::size_t w = draw.index(gauge.cues.size()); oracle.longest_stay_s(w) > 0.15) return w;
    return draw.index(gauge.cues.size());
  }
  // A cue that is never mistaken for the right one for as long as a blink lasts.
  Cue other_cue(const Cue& right) const {
    Cue cue = right;
    const int bit = draw.whole(0, gauge.channels - 1);
    const Channels one = Channels{1} << bit;
    switch (draw.whole(0, 2)) {
      case 0: cue = {right.steady ^ one, right.blinking & ~one}; break;
      case 1: cue = {right.steady & ~one, right.blinking ^ one}; break;
      default: {  // another colour
        Channels lit = 0;
        std::size_t at = 0;
        const std::size_t lamp = draw.index(pair.gauge.lamps.size());
        for (std::size_t i = 0; i < lamp; ++i) at += pair.gauge.lamps[i].colours.size();
        const std::size_t colours = pair.gauge.lamps[lamp].colours.size();
        const Channels all = ((Channels{1} << colours) - 1) << at;
        lit = Channels{1} << (at + draw.index(colours));
        cue = {(right.steady & ~all) | lit, right.blinking & ~all};
      }
    }
    return cue;
  }
  Spell spell(Spell::Kind kind) const {
    const double whole = pair.road.duration_s(), lasts = draw.log_between(0.15, 10);
    const double from = draw.chance(0.35) ? -3 : draw.between(0, whole);
    return {kind, from, from < 0 ? lasts : from + lasts, 0, {}};
  }
};

using Put = std::function<bool(Room&)>;

bool slow(Room& r, bool up, bool down) {
  const double to = r.draw.chance(0.5) ? r.draw.between(1.07, 1.6) : r.draw.between(1.6, 3);
  const auto late = [&](bool rising) {
    const double rpm = r.gauge.rising[1 + r.draw.index(r.gauge.boundaries())];
    return std::max(0.0, to * r.gauge.to_s + 1.5e-3 - r.unit.least_delay_s(rpm, rising) +
                             30 / (r.gauge.pulses_per_rev * rpm));
  };
  if (up) r.unit.delay_up_s += late(true);
  if (down) r.unit.delay_down_s += late(false);
  r.pair.magnitude = to;
  return true;
}

bool stuck(Room& r, bool lit) {
  const Channels bit = Channels{1} << r.draw.whole(0, r.gauge.channels - 1);
  (lit ? r.unit.stuck_lit : r.unit.stuck_dark) = bit;
  return true;
}

bool blinks_somewhere(const Room& r) {
  return std::any_of(r.gauge.cues.begin(), r.gauge.cues.end(), [](const Cue& c) { return c.blinking != 0; });
}

bool all_deadbands(Room& r, double width, double shift) {
  double most = 0;
  for (std::size_t b = 1; b <= r.gauge.boundaries(); ++b) {
    r.unit.rising[b] = r.gauge.rising[b] + shift;
    r.unit.falling[b] = r.unit.rising[b] - width;
    most = std::max({std::abs(shift), std::abs(r.unit.falling[b] - r.gauge.falling[b])});
  }
  r.pair.magnitude = most / r.gauge.t_rpm;
  return r.in_order();
}

const std::vector<std::pair<std::string, Put>>& faults() {
  static const std::vector<std::pair<std::string, Put>> all{
      {"boundary moved", [](Room& r) { return r.move(r.boundary(), true, true); }},
      {"boundary moved one way",
       [](Room& r) {
         const bool up = r.draw.chance(0.5);
         return r.move(r.boundary(), up, !up);
       }},
      {"blink-only boundary moved",
       [](Room& r) {
         for (int i = 0; i < 10; ++i)
           if (const std::size_t b = r.boundary(); blink_only(r.gauge.cues[b - 1], r.gauge.cues[b])) {
             const bool up = r.draw.chance(0.7), down = !up || r.draw.chance(0.5);
             return r.move(b, up, down);
           }
         return false;
       }},
      {"anchor moved",
       [](Room& r) {
         const std::size_t first = r.boundary();
         const double by = r.draw.sign() * (r.times() * r.gauge.t_rpm + 1.1 * resolution_rpm(r.unit));
         for (std::size_t b = first; b <= r.gauge.boundaries(); ++b) {
           r.unit.rising[b] = r.gauge.rising[b] + by;
           r.unit.falling[b] = r.gauge.falling[b] + by;
         }
         r.pair.magnitude = std::abs(by) / r.gauge.t_rpm;
         return r.in_order();
       }},
      {"deadband missing",
       [](Room& r) {
         const double width = r.pair.gauge.deadband.rpm;
         return all_deadbands(r, 0, r.draw.chance(0.5) ? 0 : -width);
       }},
      {"deadband of another width",
       [](Room& r) {
         const double width = r.pair.gauge.deadband.rpm,
                      by = r.times() * r.gauge.t_rpm + 2.2 * resolution_rpm(r.unit);
         const double wide = r.draw.chance(0.5) ? width + by : std::max(0.0, width - by);
         return all_deadbands(r, wide, r.draw.chance(0.5) ? 0 : (wide - width) / 2);
       }},
      {"deadband on the other side",
       [](Room& r) {
         const double width = r.pair.gauge.deadband.rpm;
         return all_deadbands(r, width, r.draw.sign() * width * (r.draw.chance(0.5) ? 1 : 0.5));
       }},
      {"count-in uneven",
       [](Room& r) {
         if (r.gauge.boundaries() < 3) return false;
         double most = 0;
         for (std::size_t b = 1; b <= r.gauge.boundaries(); ++b) {
           const double by = r.draw.between(-1, 1) * 6 * r.gauge.t_rpm;
           r.unit.rising[b] = r.gauge.rising[b] + by;
           r.unit.falling[b] = r.gauge.falling[b] + by;
           most = std::max(most, std::abs(by));
         }
         r.pair.magnitude = most / r.gauge.t_rpm;
         return r.in_order();
       }},
      {"wrong cue",
       [](Room& r) {
         const std::size_t w = r.rested();
         r.unit.cues[w] = r.other_cue(r.gauge.cues[w]);
         return !(r.unit.cues[w] == r.gauge.cues[w]);
       }},
      {"lamp dark", [](Room& r) { return stuck(r, false); }},
      {"lamp stuck lit", [](Room& r) { return stuck(r, true); }},
      {"lamps swapped",
       [](Room& r) {
         const int a = r.draw.whole(0, r.gauge.channels - 1), b = r.draw.whole(0, r.gauge.channels - 1);
         const auto swap = [&](Channels c) {
           const Channels one = (c >> a) & 1, other = (c >> b) & 1;
           return (c & ~(Channels{1} << a) & ~(Channels{1} << b)) | (one << b) | (other << a);
         };
         for (Cue& c : r.unit.cues) c = {swap(c.steady), swap(c.blinking)};
         return a != b;
       }},
      {"blink absent",
       [](Room& r) {
         r.unit.blinks = false;
         r.unit.never_lit = r.draw.chance(0.2);
         return blinks_somewhere(r);
       }},
      {"blink rate",
       [](Room& r) {
         const double by = r.draw.sign() * r.times() * r.gauge.blink_hz_within;
         r.unit.blink_hz = r.gauge.blink_hz + by;
         r.pair.magnitude = std::abs(by) / r.gauge.blink_hz_within;
         return blinks_somewhere(r) && r.unit.blink_hz > 0.3 && r.unit.blink_hz < 25;
       }},
      {"blink duty",
       [](Room& r) {
         const double by = r.draw.sign() * r.draw.between(1.06, 6) * r.gauge.blink_duty_within;
         r.unit.blink_duty = r.gauge.blink_duty + by;
         r.pair.magnitude = std::abs(by) / r.gauge.blink_duty_within;
         return blinks_somewhere(r) && r.unit.blink_duty > 0.05 && r.unit.blink_duty < 0.95;
       }},
      {"slow up", [](Room& r) { return slow(r, true, false); }},
      {"slow down", [](Room& r) { return slow(r, false, true); }},
      {"slow both ways", [](Room& r) { return slow(r, true, true); }},
      {"pulses per revolution",
       [](Room& r) {
         static const std::vector<double> of{0.5, 2.0 / 3, 0.75, 4.0 / 3, 1.5, 2, 0.98, 1.02};
         r.unit.pulses_per_rev = r.gauge.pulses_per_rev * r.draw.of(of);
         return true;
       }},
      {"freezes",
       [](Room& r) {
         r.unit.spells.push_back(r.spell(Spell::Kind::frozen));
         return true;
       }},
      {"wrong cue for a while",
       [](Room& r) {
         Spell s = r.spell(Spell::Kind::picture);
         s.window = r.rested();
         if (s.from_s >= 0 && r.draw.chance(0.7)) {
           const double lasts = s.until_s - s.from_s, middle = r.oracle.middle_of_stay_s(s.window);
           s.from_s = middle - lasts / 2;
           s.until_s = middle + lasts / 2;
         }
         s.cue = r.other_cue(r.gauge.cues[s.window]);
         if (s.cue == r.gauge.cues[s.window]) return false;
         r.unit.spells.push_back(s);
         return true;
       }},
      {"misled by bounce",
       [](Room& r) {
         r.unit.holdoff_s = r.draw.between(0, 0.5) * 1e-6 * r.pair.spoiled.bounce_us;
         return r.pair.spoiled.bounce > 0;
       }},
  };
  return all;
}

}  // namespace

const std::vector<std::string>& fault_names() {
  static const std::vector<std::string> names = [] {
    std::vector<std::string> all;
    for (const auto& [name, put] : faults()) all.push_back(name);
    // The commonest in the trade, and the hardest to see.
    for (const char* again :
         {"boundary moved", "boundary moved one way", "blink-only boundary moved", "slow up"})
      all.emplace_back(again);
    return all;
  }();
  return names;
}

bool put_fault(const std::string& name, Pair& pair, const Oracle& oracle, Draw& draw) {
  Room room{pair, oracle, PlainGauge(pair.gauge), draw, pair.unit};
  for (const auto& [known, put] : faults())
    if (known == name) return put(room);
  return false;
}

}  // namespace tachproof::study
