#include "core/cause/candidates.h"

#include <algorithm>
#include <bit>
#include <cmath>

#include "core/cause/likely_delay.h"
#include "core/cause/size_fit.h"

namespace tachproof {
namespace {

using Kind = Fault::Kind;

Fault of(Kind kind) {
  Fault fault;
  fault.kind = kind;
  return fault;
}
Fault sized(Fault fault, double size) {
  fault.size = size;
  return fault;
}
Fault at_boundary(Kind kind, std::size_t b, double size) {
  Fault fault = of(kind);
  fault.boundary = b;
  return sized(fault, size);
}
Fault of_channels(Kind kind, std::size_t channel, std::optional<std::size_t> other = {}) {
  Fault fault = of(kind);
  fault.channel = channel;
  fault.other_channel = other;
  return fault;
}
Fault of_lamps(Kind kind, std::size_t lamp, std::optional<std::size_t> other = {}) {
  Fault fault = of(kind);
  fault.lamp = lamp;
  fault.other_lamp = other;
  return fault;
}

bool is_lit(Channels set, std::size_t channel) { return ((set >> channel) & 1) != 0; }

struct Candidate {
  Fault fault;
  double gain = 0;
};

class Search {
 public:
  Search(const Court& court, const Hypothesis& known, const std::vector<RunResult>& results)
      : court_(court),
        known_(known),
        gauge_(known.gauge),
        results_(results),
        own_roads_(known.plain() ? std::vector<Road>() : court.roads(known)),
        roads_(known.plain() ? court.roads() : own_roads_) {
    for (std::size_t run = 0; run < roads_.size(); ++run) {
      shown_.push_back(roads_[run].shown(gauge_));
      wired_ |= roads_[run].wired();
      for (const MeasuredThreshold& m : measured_thresholds(gauge_, results[run])) measured_.push_back(m);
      for (const Road::Move& move : roads_[run].moves(gauge_)) moves_.push_back(move);
    }
    wrong_s_ = wrong_by_cues(gauge_);
    for (const Window& w : gauge_.windows) cued_ |= w.cue.steady | w.cue.blinking;
  }

  std::vector<Fault> found(std::size_t most) {
    pictures();
    moves();
    std::vector<Fault> all = best(std::max<std::size_t>(most * 6 / 10, 1));
    by_numbers();
    for (Fault& fault : best(most)) {
      if (all.size() >= most) break;
      if (std::find(all.begin(), all.end(), fault) == all.end()) all.push_back(std::move(fault));
    }
    return all;
  }

 private:
  void add(const Fault& fault, double gain) { found_.push_back({fault, gain}); }

  // Takes the best of those found, and forgets the rest.
  std::vector<Fault> best(std::size_t most) {
    std::stable_sort(found_.begin(), found_.end(),
                     [](const Candidate& a, const Candidate& b) { return a.gain > b.gain; });
    std::vector<Fault> all;
    for (Candidate& candidate : found_)
      if (all.size() < most && std::find(all.begin(), all.end(), candidate.fault) == all.end())
        all.push_back(std::move(candidate.fault));
    found_.clear();
    return all;
  }

  // ---- pictures ----------------------------------------------------------------------

  double wrong_by_cues(const Gauge& gauge) const {
    double sum = 0;
    for (std::size_t run = 0; run < shown_.size(); ++run) sum += roads_[run].wrong_s(shown_[run], gauge);
    return sum;
  }

  // Only where lamps are right for longer with it.
  void try_cues(const Fault& fault) {
    const double gain = wrong_s_ - wrong_by_cues(with_fault(gauge_, fault));
    if (gain > std::max(0.05, 0.02 * wrong_s_)) add(fault, gain);
  }

  void pictures() {
    const std::size_t channels = gauge_.channels(), lamps = gauge_.lamps.size();
    for (std::size_t a = 0; a < channels; ++a) {
      if (!is_lit(wired_, a)) continue;
      if (is_lit(cued_, a)) try_cues(of_channels(Kind::lamp_dark, a));
      try_cues(of_channels(Kind::stuck_on, a));
      for (std::size_t b = a + 1; b < channels; ++b)
        if (is_lit(wired_, b) && (is_lit(cued_, a) || is_lit(cued_, b)))
          try_cues(of_channels(Kind::wires_swapped, a, b));
    }
    for (std::size_t a = 0; a < lamps; ++a) {
      if ((gauge_.lamp_channels(a) & cued_ & wired_) != 0) try_cues(of_lamps(Kind::lamp_dark, a));
      for (std::size_t b = a + 1; b < lamps; ++b) try_cues(of_lamps(Kind::swapped_lamps, a, b));
      wrong_colours(a);
    }
    for (std::size_t a = 0; a < gauge_.windows.size(); ++a)
      for (std::size_t b = a + 1; b < gauge_.windows.size(); ++b)
        if (!(gauge_.windows[a].cue == gauge_.windows[b].cue)) {
          Fault fault = of(Kind::cues_swapped);
          fault.window = a;
          fault.other_window = b;
          try_cues(fault);
        }
    blinks_absent();
    ends();
  }

  void wrong_colours(std::size_t lamp) {
    const Channels all = gauge_.lamp_channels(lamp);
    for (Channels left = all & cued_; left != 0; left &= left - 1) {
      const auto right = static_cast<std::size_t>(std::countr_zero(left));
      for (Channels others = all & ~(Channels{1} << right); others != 0; others &= others - 1) {
        Fault fault =
            of_channels(Kind::wrong_colour, right, static_cast<std::size_t>(std::countr_zero(others)));
        try_cues(fault);
        for (std::size_t w = 0; w < gauge_.windows.size(); ++w)
          if (is_lit(gauge_.windows[w].cue.steady | gauge_.windows[w].cue.blinking, right)) {
            fault.window = w;
            try_cues(fault);
          }
      }
    }
  }

  void blinks_absent() {
    try_cues(of(Kind::blink_absent));
    for (std::size_t w = 0; w < gauge_.windows.size(); ++w)
      if (gauge_.windows[w].cue.blinking != 0) {
        Fault fault = of(Kind::blink_absent);
        fault.window = w;
        try_cues(fault);
      }
  }

  // What leaves windows out.
  void ends() {
    if (gauge_.boundaries() == 0) return;
    try_whole(of(Kind::over_rev_missing));
    try_whole(of(Kind::no_signal));
    try_cues(of(Kind::no_power));
  }

  // ---- moves ------------------------------------------------------------------------------

  void try_whole(const Fault& fault) {
    const Gauge acts = with_fault(gauge_, fault);
    double gain = wrong_s_;
    for (const Road& road : roads_) gain -= road.wrong_s(acts);
    if (gain > std::max(0.05, 0.02 * wrong_s_)) add(fault, gain);
  }

  // Where the lamps went from one window's picture to the next, and where that should be: the sizes
  // that many moves agree on, most often named first.
  std::vector<double> named(std::vector<double> sizes, double apart, std::size_t most) const {
    std::sort(sizes.begin(), sizes.end());
    std::vector<std::pair<std::size_t, double>> groups;
    for (std::size_t i = 0; i < sizes.size();) {
      std::size_t end = i + 1;
      while (end < sizes.size() && sizes[end] - sizes[i] <= apart) ++end;
      groups.emplace_back(end - i, sizes[i + (end - i) / 2]);
      i = end;
    }
    std::stable_sort(groups.begin(), groups.end(),
                     [](const auto& a, const auto& b) { return a.first > b.first; });
    std::vector<double> all;
    for (const auto& group : groups)
      if (all.size() < most) all.push_back(group.second);
    return all;
  }

  double nominal(const Road::Move& m) const {
    return m.direction == Direction::rising ? gauge_.rising_rpm(m.boundary) : gauge_.falling_rpm(m.boundary);
  }

  void moves() {
    const double apart = std::max(2 * gauge_.tolerance.rpm, 2.0);
    // What hangs together moves together: several boundaries in one go say nothing of it.
    const auto shifts = [&](auto belongs, bool alone) {
      return slow_ones([&](const Road::Move& m) -> std::optional<double> {
        if (!belongs(m.boundary) || (alone && !m.alone)) return std::nullopt;
        return m.rpm - nominal(m);
      });
    };
    for (std::size_t a = 0; a < gauge_.anchors.size(); ++a) {
      Fault fault = of(Kind::anchor_moved);
      fault.anchor = a;
      for (const double by : named(shifts([&](std::size_t b) { return hangs(b, a); }, true), apart, 12))
        if (std::abs(by) > 0.5) try_whole(sized(fault, by));
    }
    for (std::size_t b = 1; b <= gauge_.boundaries(); ++b) {
      for (const double by : named(shifts([&](std::size_t one) { return one == b; }, false), apart, 6))
        if (std::abs(by) > 0.5) try_whole(at_boundary(Kind::boundary_moved, b, by));
      // The window below, or this one, never shows.
      if (b < gauge_.boundaries())
        try_whole(at_boundary(Kind::boundary_moved, b,
                              gauge_.windows[b + 1].from_rpm - gauge_.windows[b].from_rpm));
      if (b > 1)
        try_whole(at_boundary(Kind::boundary_moved, b,
                              gauge_.windows[b - 1].from_rpm - gauge_.windows[b].from_rpm));
    }
    deadbands(apart);
    std::vector<double> ratios;
    for (const Road::Move& m : moves_)
      if (m.alone && nominal(m) > 0) ratios.push_back(std::log(m.rpm / nominal(m)));
    for (const double ratio : named(ratios, 0.004, 24))
      if (std::abs(ratio) > 1e-4)
        try_whole(sized(of(Kind::wrong_pulses_per_rev), gauge_.pulses_per_rev * std::exp(ratio)));
  }

  // What slow moves say; where there are none, what the fast ones do: better a rough size than none.
  template <class SizeOf>
  std::vector<double> slow_ones(SizeOf size_of) const {
    std::vector<double> slow, fast;
    for (const Road::Move& m : moves_)
      if (const std::optional<double> size = size_of(m))
        (m.rate < 60 * gauge_.tolerance.rpm ? slow : fast).push_back(*size);
    return slow.empty() ? fast : slow;
  }

  // Of thresholds that nothing has measured, because they are off the slow ramps.
  void deadbands(double apart) {
    const Deadband& deadband = gauge_.deadband;
    const double times = deadband.sits == Sits::centred ? 2 : 1;
    const auto width = [&](const Road::Move& m) -> std::optional<double> {
      const bool rising = m.direction == Direction::rising;
      if (!m.alone || deadband.sits == (rising ? Sits::below : Sits::above)) return std::nullopt;
      return deadband.rpm + times * (rising ? m.rpm - nominal(m) : nominal(m) - m.rpm);
    };
    for (const double rpm : named(slow_ones(width), apart, 4))
      if (rpm >= 0 && std::abs(rpm - deadband.rpm) > 0.5) try_whole(sized(of(Kind::deadband_width), rpm));
    if (deadband.rpm <= 0) return;
    for (const Sits side : {Sits::below, Sits::centred, Sits::above}) {
      Fault fault = of(Kind::deadband_side);
      fault.side = side;
      if (side != deadband.sits) try_whole(fault);
    }
  }

  bool hangs(std::size_t boundary, std::size_t anchor) const {
    return gauge_.windows[boundary].anchor == gauge_.anchors[anchor].first;
  }

  // ---- numbers ------------------------------------------------------------------------------

  void by_numbers() {
    thresholds();
    blinks();
    responses();
  }

  void try_size(const Fault& fault, double chi2) {
    if (measured_.empty()) return;
    const std::optional<FittedSize> fit = fitted_size(gauge_, fault, measured_);
    if (fit) try_fit(sized(fault, fit->size), chi2);
  }
  void try_fit(const Fault& fault, double chi2) {
    const double fit = misfit(with_fault(gauge_, fault), measured_);
    if (fit < 0.9 * chi2) add(fault, 1 - fit / chi2);
  }

  // A span ends after the last step, or at it; and the steps may hang from several anchors.
  std::vector<Fault> spans() const {
    std::vector<Fault> all;
    Fault fault = of(Kind::count_in_span);
    for (const auto& [first, end] : count_ins(gauge_)) {
      fault.boundary = first;
      if (end < gauge_.windows.size() && end > first) all.push_back(fault);
    }
    const auto counts_in = [&](std::size_t w) { return gauge_.windows[w].name.starts_with("count-in-"); };
    for (std::size_t first = 1, last; first < gauge_.windows.size(); first = last + 1) {
      last = first;
      if (!counts_in(first)) continue;
      while (last + 1 < gauge_.windows.size() && counts_in(last + 1)) ++last;
      fault.boundary = first;
      for (const std::size_t end : {last, last + 1}) {
        fault.window = end;
        if (end > first && end < gauge_.windows.size() && count_in_end(gauge_, fault) != first)
          all.push_back(fault);
      }
    }
    return all;
  }

  void thresholds() {
    const double chi2 = misfit(gauge_, measured_);
    for (std::size_t a = 0; a < gauge_.anchors.size(); ++a) {
      Fault fault = of(Kind::anchor_moved);
      fault.anchor = a;
      try_size(fault, chi2);
    }
    for (std::size_t b = 1; b <= gauge_.boundaries(); ++b) {
      Fault fault = of(Kind::boundary_moved);
      fault.boundary = b;
      try_size(fault, chi2);
    }
    for (const Fault& fault : spans()) try_size(fault, chi2);
    try_size(of(Kind::wrong_pulses_per_rev), chi2);
    try_size(of(Kind::deadband_width), chi2);
    if (gauge_.deadband.rpm > 0) {
      // A unit that chatters may have no numbers that say so.
      add(of(Kind::deadband_missing), 0.3);
      try_fit(of(Kind::deadband_missing), chi2);
      for (const Sits side : {Sits::below, Sits::centred, Sits::above}) {
        Fault fault = of(Kind::deadband_side);
        fault.side = side;
        if (side != gauge_.deadband.sits) try_fit(fault, chi2);
      }
    }
  }

  // Far out only: whatever else fits is put behind.
  void blinks() {
    if (!gauge_.blink) return;
    for (const bool rate : {true, false}) {
      double sum = 0, cycles = 0;
      bool off = false;
      for (const RunResult& result : results_)
        for (const BlinkResult& row : result.blinks) {
          const double value = rate ? row.hz : row.duty;
          if (!std::isfinite(value)) continue;
          sum += value * row.cycles;
          cycles += row.cycles;
          off |= row.verdict == Verdict::fail &&
                 std::abs(value - (rate ? gauge_.blink->hz : gauge_.blink->duty)) >
                     0.9 * (rate ? gauge_.tolerance.blink_hz : gauge_.tolerance.blink_duty);
        }
      if (off && cycles > 0) add(sized(of(rate ? Kind::blink_rate : Kind::blink_duty), sum / cycles), 1);
    }
  }

  void responses() {
    double sum = 0, n = 0;
    bool slow = false;
    for (const RunResult& result : results_) {
      for (const ResponseResult& row : result.responses) {
        slow |= row.verdict == Verdict::fail;
        if (std::isfinite(row.response_ms)) sum += row.response_ms, ++n;
      }
      for (const Finding& finding : result.findings)
        slow |= finding.kind == FindingKind::slow_response || finding.kind == FindingKind::late ||
                finding.kind == FindingKind::missing_transition;
    }
    if (!slow) return;
    if (n > 0 && sum / n > to_ms(gauge_.tolerance.response_to))
      add(sized(of(Kind::slow_response), sum / n), 0.95);
    if (const auto delay = likely_delay(roads_, gauge_))
      add(sized(of(Kind::slow_response), to_ms(*delay)), 0.97);
  }

  const Court& court_;
  const Hypothesis& known_;
  const Gauge& gauge_;
  const std::vector<RunResult>& results_;
  const std::vector<Road> own_roads_;
  const std::vector<Road>& roads_;
  std::vector<std::vector<Road::Shown>> shown_;
  std::vector<MeasuredThreshold> measured_;
  std::vector<Road::Move> moves_;
  std::vector<Candidate> found_;
  Channels wired_ = 0, cued_ = 0;
  double wrong_s_ = 0;
};

}  // namespace

std::vector<Fault> candidates(const Court& court, const Hypothesis& known,
                              const std::vector<RunResult>& results, std::size_t most) {
  return Search(court, known, results).found(most);
}

}  // namespace tachproof
