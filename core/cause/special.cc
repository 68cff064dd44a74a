#include "core/cause/special.h"

#include <algorithm>
#include <cmath>
#include <initializer_list>
#include <limits>
#include <set>
#include <string>

namespace tachproof {
namespace {

using Kind = Fault::Kind;

Hypothesis having(const Hypothesis& known, Kind kind, std::optional<double> size = {}) {
  Fault fault;
  fault.kind = kind;
  fault.size = size;
  return with(known, fault);
}

void excuse(Hypothesis& one, std::pair<Nanos, Nanos> span) {
  one.excused.push_back(span);
  std::sort(one.excused.begin(), one.excused.end());
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
void spells(const std::vector<Road>& roads, const Hypothesis& known, std::vector<Hypothesis>& found) {
  if (roads.size() != 1) return;
  const Road& road = roads.front();
  const Gauge& gauge = known.gauge;
  const Nanos guard = gauge.tolerance.response_to + gauge.tolerance.settle + 50 * ns_per_ms;
  std::vector<Road::Wrong> wrong = road.wrong(gauge, 30 * ns_per_ms);
  std::stable_sort(wrong.begin(), wrong.end(),
                   [](const auto& a, const auto& b) { return a.to - a.from > b.to - b.from; });
  for (std::size_t i = 0; i < std::min<std::size_t>(wrong.size(), 3); ++i) {
    const auto [from, to] = unchanged_round(road, wrong[i].from);
    if (to - from < guard && wrong[i].lit_at_from != 0) continue;
    const bool dark = wrong[i].lit_at_from == 0;
    // Dark lamps that stayed dark: both look the same.
    const bool either = dark && wrong[i].from - from > guard;
    for (const Kind kind : {Kind::reset, Kind::freeze}) {
      if (kind == (dark ? Kind::freeze : Kind::reset) && !either) continue;
      Hypothesis one = having(known, kind, to_seconds(from));
      one.faults.back().window = wrong[i].window;
      excuse(one, {std::max<Nanos>(from - 1, 0), to + guard});
      if (kind == Kind::reset) one.hidden.emplace_back(from, to);
      found.push_back(one);
    }
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
    if (all > 0.3 && (wrong_lit > 0.1 * all + 0.2 || right < 0.12 * all)) return false;
  }
  return true;
}

// How often a lamp goes dark; 0 for one that is not a loose one.
std::size_t dips_of(const Road& road, const Gauge& gauge, Channels lamp) {
  if (!mostly_right(road, gauge, lamp & road.wired())) return 0;
  std::size_t dips = 0;
  for (const Road::Wrong& wrong : road.wrong(gauge, 20 * ns_per_ms)) {
    const Cue& cue = gauge.windows[wrong.window].cue;
    const Channels differ = (wrong.lit_at_from ^ cue.steady) & ~cue.blinking & road.wired();
    dips += (differ & lamp) != 0 && (wrong.lit_at_from & lamp) == 0;
  }
  return dips;
}

// Those that go dark most often.
void loose_lamps(const std::vector<Road>& roads, const Hypothesis& known, std::vector<Hypothesis>& found) {
  constexpr std::size_t most = 3;
  std::vector<Hypothesis> all;
  for (std::size_t lamp = 0; lamp < known.gauge.lamps.size(); ++lamp) {
    const Channels channels = known.gauge.lamp_channels(lamp);
    std::size_t dips = 0;
    double minutes = 0;
    for (const Road& road : roads) {
      if ((road.wired() & channels) == 0) continue;
      minutes += to_seconds(road.until()) / 60;
      dips += dips_of(road, known.gauge, channels);
    }
    if (dips < 2 || minutes <= 0) continue;
    all.push_back(having(known, Kind::intermittent_lamp, static_cast<double>(dips) / minutes));
    all.back().faults.back().lamp = lamp;
    all.back().ignored |= channels;
  }
  std::stable_sort(all.begin(), all.end(), [](const Hypothesis& a, const Hypothesis& b) {
    return a.faults.back().size > b.faults.back().size;
  });
  if (all.size() > most) all.resize(most);
  found.insert(found.end(), all.begin(), all.end());
}

// ---- the reading ----------------------------------------------------------------------------------

// A low-pass, and what it had believed before the first pulse: nothing yet, or the rpm that came.
struct LowPass {
  double tau_ms = 0;
  bool from_rest = false;
};

// The rpm behind it, in short straight pieces.
std::shared_ptr<const std::vector<Segment>> smoothed(const std::vector<Segment>& played,
                                                     const LowPass& filter) {
  const double tau_s = filter.tau_ms / 1e3;
  auto out = std::make_shared<std::vector<Segment>>();
  constexpr double pieces_per_tau = 8, settled_taus = 9;
  double believed = played.empty() || filter.from_rest ? 0 : played.front().rpm(0);
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
std::vector<LowPass> likely_filters(const Court& court, const std::vector<Road>& roads,
                                    const Hypothesis& known) {
  if (roads.size() != 1 || known.believed != nullptr) return {};
  const EvidenceLog& evidence = court.runs()[0].evidence;
  const Tolerance& tolerance = known.gauge.tolerance;
  const double allowed_ms = to_ms(court.gauge().tolerance.response_to);
  const Nanos response = (tolerance.response_from + tolerance.response_to) / 3;
  LowPass best;
  double least = std::numeric_limits<double>::infinity();
  const auto wrong_s = [&](const LowPass& filter, Nanos every) {
    const auto believed = smoothed(evidence.segments(), filter);
    Road::View view = known.view();
    view.believed = believed.get();
    view.every = every;
    return Road(evidence, known.gauge, response, court.runs()[0].result.states, view).wrong_s(known.gauge);
  };
  const auto look = [&](const LowPass& filter, Nanos every) {
    const double wrong = wrong_s(filter, every);
    if (wrong < least) least = wrong, best = filter;
  };
  // A fifth of the samples tells which is near; all of them whether it is any good, and how long it is.
  constexpr Nanos few = 5;
  for (const bool from_rest : {false, true})
    for (double ms = 0.4 * allowed_ms; ms < 40 * allowed_ms; ms *= 1.25) look({ms, from_rest}, few);
  least = wrong_s(best, 1);
  for (const double step : {0.1, 0.05, 0.02}) {
    const LowPass coarse = best;
    for (const double times : {1 - step, 1 + step}) look({coarse.tau_ms * times, coarse.from_rest}, 1);
  }
  if (least >= roads[0].wrong_s(known.gauge)) return {};
  std::vector<LowPass> all;
  for (const double times : {1.0, 0.97, 1.03, 0.93, 1.07})
    all.push_back({best.tau_ms * times, best.from_rest});
  return all;
}

bool any(const std::vector<RunResult>& results, std::initializer_list<FindingKind> kinds) {
  for (const RunResult& result : results)
    for (const Finding& finding : result.findings)
      if (std::find(kinds.begin(), kinds.end(), finding.kind) != kinds.end()) return true;
  return false;
}

bool any_slow(const std::vector<RunResult>& results) {
  return any(results, {FindingKind::late, FindingKind::slow_response, FindingKind::wrong_cue,
                       FindingKind::missing_transition});
}

void filters(const Court& court, const std::vector<Road>& roads, const Hypothesis& known,
             std::vector<Hypothesis>& found) {
  for (const LowPass& filter : likely_filters(court, roads, known)) {
    Hypothesis one = having(known, Kind::slow_filter, filter.tau_ms);
    one.believed = smoothed(court.runs()[0].evidence.segments(), filter);
    found.push_back(one);
  }
}

// Where the lamps say when it read; only if they say nothing of it, by longer responses.
void seldom_readings(const Court& court, const Hypothesis& known, std::vector<Hypothesis>& found) {
  if (court.runs().size() == 1 && known.believed == nullptr && !known.has(Kind::dropped_updates))
    found.push_back(having(known, Kind::dropped_updates));
}

void skipped_updates(const Court& court, const Hypothesis& known, std::vector<Hypothesis>& found) {
  if (known.answers_within > 0 || known.has(Kind::dropped_updates)) return;
  for (const double times : {1.5, 2.5, 4.0, 8.0, 16.0, 32.0}) {
    Hypothesis one = having(known, Kind::dropped_updates);
    one.answers_within = from_seconds(to_seconds(court.gauge().tolerance.response_to) * times);
    found.push_back(one);
  }
}

// At half of its boundaries or more the lamps went to and fro, as a noisy reading makes them.
bool chatter(const Gauge& gauge, const std::vector<RunResult>& results) {
  std::set<std::string> chattering;
  for (const RunResult& result : results)
    for (const Finding& finding : result.findings)
      if (finding.kind == FindingKind::extra_transition) chattering.insert(finding.window);
  return 2 * chattering.size() >= std::max<std::size_t>(gauge.boundaries(), 1);
}

Hypothesis noisy(Hypothesis one, double rpm) {
  one.noise.wander_rpm = rpm;
  one.noise.wander_s = 0.1;
  return one;
}

// Without a deadband the little that every reading is off by makes the lamps chatter, near the
// thresholds; a noisy reading does it as far from them as it goes.
void noisy_readings(const std::vector<Road>& roads, const Hypothesis& known,
                    const std::vector<RunResult>& results, std::vector<Hypothesis>& found) {
  constexpr double still_rpm = 1;
  if (!known.noise.quiet() || !any(results, {FindingKind::extra_transition, FindingKind::early,
                                             FindingKind::late, FindingKind::flicker}))
    return;
  double spread = 0;
  for (const Road& road : roads) spread = std::max(spread, road.chatter_rpm(known.gauge));
  // So little that it moves no threshold: the last digit of a reading.
  const double hair_rpm = std::min(still_rpm, known.gauge.tolerance.rpm / 40);
  if (known.gauge.deadband.rpm > 0 && spread < 4 * still_rpm)
    found.push_back(noisy(having(known, Kind::deadband_missing), hair_rpm));
  else if (known.gauge.deadband.rpm <= 0)
    found.push_back(noisy(having(known, Kind::noisy_reading, hair_rpm), hair_rpm));
  // What went to and fro shows some four standard deviations of it; where a deadband keeps it from going to
  // and fro, lamps are early both ways by as much.
  if (!chatter(known.gauge, results) || spread < 2 * still_rpm) {
    const double tolerance = known.gauge.tolerance.rpm;
    for (const double times : {0.5, 1.0})
      if (any(results, {FindingKind::early}))
        found.push_back(noisy(having(known, Kind::noisy_reading, tolerance * times), tolerance * times));
    return;
  }
  for (const double times : {0.25, 0.5, 1.0, 2.0, 4.0})
    found.push_back(noisy(having(known, Kind::noisy_reading, spread * times), spread * times));
}

}  // namespace

std::vector<Hypothesis> special_hypotheses(const Court& court, const Hypothesis& known,
                                           const std::vector<RunResult>& results) {
  const std::vector<Road> own = known.plain() ? std::vector<Road>() : court.roads(known);
  const std::vector<Road>& roads = known.plain() ? court.roads() : own;
  std::vector<Hypothesis> found;
  spells(roads, known, found);
  loose_lamps(roads, known, found);
  noisy_readings(roads, known, results, found);
  if (any_slow(results)) filters(court, roads, known, found);
  if (any_slow(results)) seldom_readings(court, known, found);
  return found;
}

std::vector<Hypothesis> loose_hypotheses(const Court& court, const Hypothesis& known,
                                         const std::vector<RunResult>& results) {
  std::vector<Hypothesis> found;
  if (any_slow(results)) skipped_updates(court, known, found);
  return found;
}

bool lets_pass(const Hypothesis& hypothesis) { return hypothesis.answers_within > 0; }

}  // namespace tachproof
