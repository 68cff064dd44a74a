#include "core/cause/fault_list.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <stdexcept>

#include "core/base/rpm.h"
#include "core/base/text.h"
#include "core/base/words.h"
#include "core/cause/shown.h"

namespace tachproof {
namespace {

using Kind = Fault::Kind;

constexpr double most_pulses_per_rev = 60;
constexpr double slowest_blink_hz = 0.05;
constexpr double least_duty = 0.02;

Fault fault_of(Kind kind) {
  Fault fault;
  fault.kind = kind;
  return fault;
}

class List {
 public:
  explicit List(const Gauge& gauge)
      : gauge_(gauge),
        healthy_(shown_by(gauge)),
        tolerance_(gauge.tolerance.rpm > 0 ? gauge.tolerance.rpm : 1.0) {
    by_key_.emplace(healthy_.key(), 0);
  }

  FaultList all() {
    boundaries();
    deadband();
    pulses_per_rev();
    cues();
    blinks();
    lamps_and_wires();
    supply();
    reading();
    buttons();
    voltage();
    random_ones();
    return std::move(list_);
  }

 private:
  void leave_out(const Fault& fault, std::string why) { list_.left_out.push_back({fault, std::move(why)}); }

  // A change of settings: new, or the same as one before, or nothing to be seen.
  void add(const ListedFault& listed,
           const std::string& invisible = "the lamps show the same as without it") {
    const Shown shown = shown_by(with_fault(gauge_, listed.fault));
    const auto [at, is_new] = by_key_.emplace(shown.key(), list_.faults.size() + 1);
    if (at->second == 0) return leave_out(listed.fault, invisible);
    if (!is_new) {
      list_.faults[at->second - 1].same_as.push_back(listed.fault);
    } else if (within_tolerance(healthy_, shown, gauge_.tolerance)) {
      by_key_.erase(at);
      leave_out(listed.fault, "nothing differs by more than the tolerance");
    } else {
      list_.faults.push_back(listed);
    }
  }
  void add(const Fault& fault) { add(ListedFault{fault, {}, 0, 0}); }
  // No change of settings: like nothing else.
  void add_apart(const ListedFault& listed) { list_.faults.push_back(listed); }

  // Two of them, up and down, from `none` on.
  void add_both_ways(Fault fault, double none, double per_tolerance) {
    for (const double way : {1.0, -1.0}) {
      ListedFault listed{fault, {}, none, way * per_tolerance};
      listed.fault = listed.by(graded_tolerances);
      add(listed);
    }
  }

  void boundaries() {
    Fault moved = fault_of(Kind::boundary_moved);
    for (std::size_t b = 1; b < gauge_.windows.size(); ++b) {
      moved.boundary = b;
      add_both_ways(moved, 0, tolerance_);
    }
    Fault anchor = fault_of(Kind::anchor_moved);
    for (std::size_t a = 0; a < gauge_.anchors.size(); ++a) {
      anchor.anchor = a;
      add_both_ways(anchor, 0, tolerance_);
    }
    for (const auto& [first, end] : count_ins(gauge_)) {
      Fault count_in = fault_of(Kind::count_in_uneven);
      for (std::size_t b = first; b < end; ++b) {
        count_in.boundary = b;
        add_both_ways(count_in, 0, tolerance_);
      }
      count_in = fault_of(Kind::count_in_span);
      count_in.boundary = first;
      if (end < gauge_.windows.size()) add_both_ways(count_in, 0, tolerance_);
    }
  }

  void deadband() {
    if (gauge_.boundaries() == 0) return;
    const double set = gauge_.deadband.rpm;
    if (set > 0) add(fault_of(Kind::deadband_missing));
    // Centred, each threshold takes half.
    const double per_tolerance = tolerance_ * (gauge_.deadband.sits == Sits::centred ? 2 : 1);
    for (const double way : {1.0, -1.0}) {
      ListedFault width{fault_of(Kind::deadband_width), {}, set, way * per_tolerance};
      width.fault = width.by(graded_tolerances);
      if (*width.fault.size >= 0)
        add(width);
      else
        leave_out(width.fault, "there is no deadband narrower than none");
    }
    for (const Sits side : {Sits::below, Sits::centred, Sits::above}) {
      Fault other = fault_of(Kind::deadband_side);
      other.side = side;
      if (side != gauge_.deadband.sits) add(other);
    }
  }

  void pulses_per_rev() {
    if (gauge_.boundaries() == 0) return;
    const double set = gauge_.pulses_per_rev;
    std::vector<double> others;
    for (const double other : {set / 2, set - 1, set + 1, set * 2})
      if (other > 0.1 && other <= most_pulses_per_rev &&
          std::find(others.begin(), others.end(), other) == others.end())
        others.push_back(other);
    for (const double other : others) {
      Fault fault = fault_of(Kind::wrong_pulses_per_rev);
      fault.size = other;
      add(fault);
    }
  }

  void cues() {
    if (gauge_.boundaries() > 0) add(fault_of(Kind::over_rev_missing));
    for (std::size_t w = 0; w < gauge_.windows.size(); ++w) wrong_colours(w);
    for (std::size_t a = 0; a < gauge_.windows.size(); ++a)
      for (std::size_t b = a + 1; b < gauge_.windows.size(); ++b) {
        Fault swapped = fault_of(Kind::cues_swapped);
        swapped.window = a;
        swapped.other_window = b;
        add(ListedFault{swapped, {}, 0, 0}, "both show the same");
      }
  }

  void wrong_colours(std::size_t window) {
    const Cue& cue = gauge_.windows[window].cue;
    std::size_t first = 0;
    for (const Lamp& lamp : gauge_.lamps) {
      const std::size_t end = first + lamp.colours.size();
      for (std::size_t right = first; right < end; ++right) {
        if ((((cue.steady | cue.blinking) >> right) & 1) == 0) continue;
        for (std::size_t wrong = first; wrong < end; ++wrong) {
          if (wrong == right) continue;
          Fault fault = fault_of(Kind::wrong_colour);
          fault.window = window;
          fault.channel = right;
          fault.other_channel = wrong;
          add(fault);
        }
      }
      first = end;
    }
  }

  void blinks() {
    if (!healthy_.blink) return;
    Fault absent = fault_of(Kind::blink_absent);
    add(absent);
    for (std::size_t w = 0; w < gauge_.windows.size(); ++w) {
      absent.window = w;
      if (gauge_.windows[w].cue.blinking != 0) add(absent);
    }
    const Tolerance& t = gauge_.tolerance;
    blink(Kind::blink_rate, gauge_.blink->hz, t.blink_hz > 0 ? t.blink_hz : 0.1, slowest_blink_hz, 100);
    blink(Kind::blink_duty, gauge_.blink->duty, t.blink_duty > 0 ? t.blink_duty : 0.05, least_duty,
          1 - least_duty);
  }
  void blink(Kind kind, double set, double tolerance, double least, double most) {
    for (const double way : {1.0, -1.0}) {
      ListedFault listed{fault_of(kind), {}, set, way * tolerance};
      listed.fault = listed.by(graded_tolerances);
      if (*listed.fault.size >= least && *listed.fault.size <= most)
        add(listed);
      else
        leave_out(listed.fault, "no lamp can blink so");
    }
  }

  void lamps_and_wires() {
    Channels ever = 0;
    for (const Window& w : gauge_.windows) ever |= w.cue.steady | w.cue.blinking;
    for (std::size_t l = 0; l < gauge_.lamps.size(); ++l)
      if ((gauge_.lamp_channels(l) & ever) != 0) {
        Fault dark = fault_of(Kind::lamp_dark);
        dark.lamp = l;
        add(dark);
      }
    for (std::size_t c = 0; c < gauge_.channels(); ++c) {
      Fault stuck = fault_of(Kind::lamp_dark);
      stuck.channel = c;
      add(ListedFault{stuck, {}, 0, 0}, "no window lights it");
      stuck.kind = Kind::stuck_on;
      add(ListedFault{stuck, {}, 0, 0}, "every window lights it");
    }
    for (std::size_t a = 0; a < gauge_.lamps.size(); ++a)
      for (std::size_t b = a + 1; b < gauge_.lamps.size(); ++b) {
        Fault swapped = fault_of(Kind::swapped_lamps);
        swapped.lamp = a;
        swapped.other_lamp = b;
        add(swapped);
      }
    for (std::size_t a = 0; a < gauge_.channels(); ++a)
      for (std::size_t b = a + 1; b < gauge_.channels(); ++b) {
        Fault swapped = fault_of(Kind::wires_swapped);
        swapped.channel = a;
        swapped.other_channel = b;
        add(swapped);
      }
  }

  void supply() {
    add(fault_of(Kind::no_power));
    add(fault_of(Kind::no_signal));
    for (std::size_t w = 0; w < gauge_.windows.size(); ++w) {
      Fault spell = fault_of(Kind::freeze);
      spell.window = w;
      if (healthy_.cues.size() > 1)
        add_apart({spell, {}, 0, 0});
      else
        leave_out(spell, "the lamps never change");
      spell.kind = Kind::reset;
      const Cue& cue = gauge_.windows[w].cue;
      if ((cue.steady | cue.blinking) != 0)
        add_apart({spell, {}, 0, 0});
      else
        leave_out(spell, "the lamps are dark there anyway");
    }
  }

  void reading() {
    if (healthy_.cues.size() < 2) return;
    for (const Kind kind : {Kind::slow_response, Kind::slow_filter}) {
      const double allowed_ms = std::max(to_ms(gauge_.tolerance.response_to), 1.0);
      ListedFault slow{fault_of(kind), {}, 0, allowed_ms};
      slow.fault = slow.by(graded_tolerances);
      add_apart(slow);
    }
  }

  // Seen only by a scenario that presses, or cuts the supply.
  void buttons() {
    const auto plain = [&](Kind kind) { add_apart({fault_of(kind), {}, 0, 0}); };
    bool takes = false;
    for (const Button& button : gauge_.buttons)
      if (std::holds_alternative<TakeRpm>(button.does)) {
        takes = true;
      } else if (std::holds_alternative<ShowPeak>(button.does)) {
        plain(Kind::peak_not_cleared);
      } else if (const auto* dim = std::get_if<Dim>(&button.does)) {
        for (const double level : dim->levels) {
          Fault missing = fault_of(Kind::dim_missing);
          missing.size = 100 * level;
          add_apart({missing, {}, 0, 0});
        }
      }
    if (takes) {
      for (const Kind kind : {Kind::take_ignored, Kind::take_not_refused}) plain(kind);
      Fault late = fault_of(Kind::take_late);
      late.size = 1000;
      add_apart({late, {}, 0, 0});
    }
    if (!gauge_.power_up) return;
    const bool kept = std::any_of(gauge_.buttons.begin(), gauge_.buttons.end(), [&](const Button& button) {
      return std::holds_alternative<TakeRpm>(button.does) && keeps(*gauge_.power_up, button.name);
    });
    if (kept) plain(Kind::take_lost);
    Fault slow = fault_of(Kind::slow_boot);
    slow.size = to_ms(gauge_.power_up->boot_to) + 2 * to_ms(gauge_.tolerance.response_to);
    add_apart({slow, {}, 0, 0});
    for (std::size_t l = 0; gauge_.power_up->greets && l < gauge_.lamps.size(); ++l) {
      // One lamp alone is the right greeting where it is the only one.
      const Channels lit = gauge_.power_up->greets->cue.steady | gauge_.power_up->greets->cue.blinking;
      if ((lit & ~gauge_.lamp_channels(l)) == 0) continue;
      Fault greets = fault_of(Kind::greets_wrong);
      greets.lamp = l;
      add_apart({greets, {}, 0, 0});
      break;
    }
  }

  // Seen only by a scenario that changes the voltage.
  void voltage() {
    if (!gauge_.supply) return;
    const double span_v = gauge_.supply->highest_v - gauge_.supply->lowest_v;
    // At either end of what it may be fed, off by so many tolerances.
    for (const double way : {1.0, -1.0}) {
      ListedFault drift{fault_of(Kind::supply_drift), {}, 0, way * gauge_.tolerance.rpm / (span_v / 2)};
      drift.fault = drift.by(graded_tolerances);
      if (healthy_.cues.size() > 1) add_apart(drift);
    }
    Fault brown_out = fault_of(Kind::brown_out);
    brown_out.size = std::round(10 * (gauge_.supply->lowest_v + span_v / 4)) / 10;
    add_apart({brown_out, {}, 0, 0});
    add_apart({fault_of(Kind::no_return), {}, 0, 0});
  }

  // A scenario meets them by luck.
  void random_ones() {
    for (const Kind kind : {Kind::dropped_updates, Kind::noisy_reading, Kind::intermittent_lamp})
      leave_out(fault_of(kind), "it comes at random: a scenario meets it or not");
  }

  const Gauge& gauge_;
  Shown healthy_;
  double tolerance_;
  FaultList list_;
  std::map<std::string, std::size_t> by_key_;  // 0: as without a fault; else the place in the list, from 1
};

}  // namespace

Fault ListedFault::by(double tolerances) const {
  Fault same = fault;
  if (sized()) same.size = none + tolerances * per_tolerance;
  return same;
}

FaultList fault_list(const Gauge& gauge) {
  if (const std::vector<Problem> problems = problems_of(gauge); !problems.empty())
    throw std::invalid_argument("The gauge is not sound: " + problems[0].path + " is " + problems[0].found +
                                ", allowed is " + problems[0].allowed + ".");
  return List(gauge).all();
}

void add_settings_of(FaultList& list, const Gauge& gauge, const std::string& file, const Gauge& other) {
  Fault fault = fault_of(Kind::settings_of);
  fault.file = file;
  if (other.pulses_per_rev == gauge.pulses_per_rev && show_the_same(gauge, other))
    list.left_out.push_back({fault, "the lamps show the same as without it"});
  else
    list.faults.push_back({fault, {}, 0, 0});
}

bool show_the_same(const Gauge& a, const Gauge& b) { return shown_by(a).key() == shown_by(b).key(); }

}  // namespace tachproof
