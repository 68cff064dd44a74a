#include "core/cause/special.h"

#include <algorithm>
#include <cmath>
#include <initializer_list>

namespace tachproof {
namespace {

using Kind = Fault::Kind;

Hypothesis as_set(const Court& court) {
  Hypothesis none;
  none.gauge = court.gauge();
  return none;
}

Hypothesis having(const Court& court, Kind kind, std::optional<double> size = {}) {
  Fault fault;
  fault.kind = kind;
  fault.size = size;
  return with(as_set(court), fault);
}

// ---- spells ----------------------------------------------------------------------------------

// The stretch in which the lamps stayed as they were at `at`.
std::pair<Nanos, Nanos> unchanged_round(const Road& road, Nanos at) {
  const std::vector<LampEvent>& lamps = road.lamps();
  const auto after = std::upper_bound(lamps.begin(), lamps.end(), at,
                                      [](Nanos t, const LampEvent& event) { return t < event.at; });
  const Nanos from = after == lamps.begin() ? 0 : std::prev(after)->at;
  return {from, after == lamps.end() ? road.until() : after->at};
}

// The lamps stood still, or were dark, where they were wrong.
void spells(const Court& court, std::vector<Hypothesis>& found) {
  if (court.runs().size() != 1) return;
  const Road& road = court.road(0);
  const Gauge& gauge = court.gauge();
  const Nanos guard = gauge.tolerance.response_to + gauge.tolerance.settle + 50 * ns_per_ms;
  std::vector<Road::Wrong> wrong = road.wrong(gauge, 30 * ns_per_ms);
  std::stable_sort(wrong.begin(), wrong.end(),
                   [](const auto& a, const auto& b) { return a.to - a.from > b.to - b.from; });
  for (std::size_t i = 0; i < std::min<std::size_t>(wrong.size(), 3); ++i) {
    const auto [from, to] = unchanged_round(road, wrong[i].from);
    if (to - from < guard && wrong[i].lit_at_from != 0) continue;
    const bool dark = wrong[i].lit_at_from == 0;
    Hypothesis one = having(court, dark ? Kind::reset : Kind::freeze, to_seconds(from));
    one.faults.back().window = wrong[i].window;
    one.excused = {{std::max<Nanos>(from - 1, 0), to + guard}};
    if (dark) one.hidden = {{from, to}};
    found.push_back(one);
  }
}

// ---- a lamp that comes and goes -----------------------------------------------------------------

// A loose contact leaves the lamp right for some of the time wherever it is to be lit, and lights nothing.
bool mostly_right(const Road& road, const Gauge& gauge, Channels lamp) {
  const std::vector<Road::Shown> shown = road.shown(gauge);
  for (std::size_t w = 0; w < shown.size(); ++w) {
    const Cue& cue = gauge.windows[w].cue;
    double right = 0, wrong_lit = 0, all = 0;
    for (const auto& [lit, s] : shown[w].pictures) {
      all += s;
      if ((lit & lamp & ~(cue.steady | cue.blinking)) != 0)
        wrong_lit += s;
      else if ((lit & lamp & ~cue.blinking) == (cue.steady & lamp & road.wired()))
        right += s;
    }
    if (all > 0.3 && (wrong_lit > 0.1 * all + 0.2 || right < 0.3 * all)) return false;
  }
  return true;
}

void loose_lamps(const Court& court, std::vector<Hypothesis>& found) {
  const Gauge& gauge = court.gauge();
  for (std::size_t lamp = 0; lamp < gauge.lamps.size(); ++lamp) {
    const Channels channels = gauge.lamp_channels(lamp);
    std::size_t dips = 0;
    double minutes = 0;
    bool steady = true;
    for (std::size_t run = 0; run < court.runs().size(); ++run) {
      const Road& road = court.road(run);
      if ((road.wired() & channels) == 0) continue;
      minutes += to_seconds(road.until()) / 60;
      steady = steady && mostly_right(road, gauge, channels & road.wired());
      for (const Road::Wrong& wrong : road.wrong(gauge, 20 * ns_per_ms)) {
        const Cue& cue = gauge.windows[wrong.window].cue;
        const Channels differ = (wrong.lit_at_from ^ cue.steady) & ~cue.blinking & road.wired();
        dips += (differ & channels) != 0 && (wrong.lit_at_from & channels) == 0;
      }
    }
    if (dips < 2 || minutes <= 0 || !steady) continue;
    Hypothesis one = having(court, Kind::intermittent_lamp, static_cast<double>(dips) / minutes);
    one.faults.back().lamp = lamp;
    one.ignored = channels;
    found.push_back(one);
  }
}

// ---- the reading ----------------------------------------------------------------------------------

// The rpm behind a low-pass of this time constant, in short straight pieces.
std::shared_ptr<const std::vector<Segment>> smoothed(const std::vector<Segment>& played, double tau_s) {
  auto out = std::make_shared<std::vector<Segment>>();
  constexpr double pieces_per_tau = 8, settled_taus = 9;
  double believed = played.empty() ? 0 : played.front().rpm(0);
  const auto straight = [&](const Segment& s, double from, double to, double rpm0, double rpm1) {
    Segment piece;
    piece.shape = rpm0 == rpm1 ? Segment::Shape::constant : Segment::Shape::linear;
    const double ns = s.start.frac_ns + from * 1e9;
    piece.start.whole = s.start.whole + static_cast<Nanos>(std::floor(ns));
    piece.start.frac_ns = ns - std::floor(ns);
    piece.lasts_s = to - from;
    piece.rpm0 = rpm0;
    piece.slope_rpm_per_s = (rpm1 - rpm0) / (to - from);
    if (piece.shape == Segment::Shape::constant) piece.slope_rpm_per_s = 0;
    out->push_back(piece);
  };
  for (const Segment& s : played) {
    // A straight line goes in: what comes out is the line, tau later, and what is left of before.
    const bool sine = s.shape == Segment::Shape::sine;
    for (double from = 0; from < s.lasts_s;) {
      const bool settled = !sine && from >= settled_taus * tau_s;
      const double to = settled ? s.lasts_s : std::min(s.lasts_s, from + tau_s / pieces_per_tau);
      const double in0 = s.rpm(from), in1 = s.rpm(to), slope = (in1 - in0) / (to - from);
      const double lag = slope * tau_s, decay = std::exp(-(to - from) / tau_s);
      const double after = in1 - lag + (believed - (in0 - lag)) * decay;
      straight(s, from, to, believed, settled ? in1 - lag : after);
      believed = settled ? in1 - lag : after;
      from = to;
    }
  }
  return out;
}

// The time constants with which the lamps are right for longest, and a little to either side.
std::vector<double> likely_filters_ms(const Court& court, double allowed_ms) {
  if (court.runs().size() != 1) return {};
  const EvidenceLog& evidence = court.runs()[0].evidence;
  const Nanos response = (court.gauge().tolerance.response_from + court.gauge().tolerance.response_to) / 3;
  double best_ms = 0, least = court.road(0).wrong_s(court.gauge());
  const auto look = [&](double ms) {
    const auto believed = smoothed(evidence.segments(), ms / 1e3);
    const double wrong = Road(evidence, court.gauge(), response, believed.get()).wrong_s(court.gauge());
    if (wrong < least) least = wrong, best_ms = ms;
  };
  for (double ms = 0.4 * allowed_ms; ms < 40 * allowed_ms; ms *= 1.25) look(ms);
  if (best_ms == 0) return {};
  const double coarse = best_ms;
  for (const double times : {0.86, 0.9, 0.95, 1.05, 1.1, 1.16}) look(coarse * times);
  return {best_ms, 0.96 * best_ms, 1.04 * best_ms, 0.92 * best_ms, 1.08 * best_ms};
}

bool any(const Court& court, std::initializer_list<FindingKind> kinds) {
  for (const JudgedRun& run : court.runs())
    for (const Finding& finding : run.result.findings)
      if (std::find(kinds.begin(), kinds.end(), finding.kind) != kinds.end()) return true;
  return false;
}

void slow_readings(const Court& court, std::vector<Hypothesis>& found) {
  if (!any(court, {FindingKind::late, FindingKind::slow_response, FindingKind::wrong_cue,
                   FindingKind::missing_transition}))
    return;
  const Tolerance& tolerance = court.gauge().tolerance;
  const double allowed_ms = to_ms(tolerance.response_to);
  for (const double tau_ms : likely_filters_ms(court, allowed_ms)) {
    Hypothesis one = having(court, Kind::slow_filter, tau_ms);
    one.gauge = court.gauge();
    one.believed = smoothed(court.runs()[0].evidence.segments(), tau_ms / 1e3);
    found.push_back(one);
  }
  for (const double times : {1.5, 2.5, 4.0, 8.0, 16.0, 32.0}) {
    Hypothesis one = having(court, Kind::dropped_updates);
    one.gauge.tolerance.response_to = from_seconds(allowed_ms * times / 1e3);
    found.push_back(one);
  }
}

void noisy_readings(const Court& court, std::vector<Hypothesis>& found) {
  if (!any(court,
           {FindingKind::extra_transition, FindingKind::early, FindingKind::late, FindingKind::flicker}))
    return;
  double scatter = 0;
  for (const JudgedRun& run : court.runs())
    if (std::isfinite(run.result.scatter.rpm)) scatter = std::max(scatter, run.result.scatter.rpm);
  const double least = court.gauge().tolerance.rpm;
  // Without a deadband the little that every reading is off by makes the lamps chatter.
  if (court.gauge().deadband.rpm > 0) {
    Hypothesis bare = having(court, Kind::deadband_missing);
    bare.noise.wander_rpm = 1;
    bare.noise.wander_s = 0.1;
    found.push_back(bare);
  }
  for (const double times : {0.5, 1.0, 2.0, 4.0, 8.0, 16.0}) {
    Hypothesis one = having(court, Kind::noisy_reading, std::max(scatter, least) * times);
    one.noise.wander_rpm = *one.faults.back().size;
    one.noise.wander_s = 0.1;
    found.push_back(one);
  }
}

}  // namespace

std::vector<Hypothesis> special_hypotheses(const Court& court) {
  std::vector<Hypothesis> found;
  spells(court, found);
  loose_lamps(court, found);
  noisy_readings(court, found);
  slow_readings(court, found);
  return found;
}

}  // namespace tachproof
