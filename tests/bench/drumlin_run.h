// A run of the Drumlin gauge of the contract, made by hand: the gauge, a run
// record and a trace that agree with each other, without judge or simulator.
#pragma once

#include <algorithm>
#include <string>

#include "bench/record/run_folder.h"

namespace tachproof::drumlin {

inline Gauge gauge() {
  Gauge g;
  g.name = "Drumlin four-lamp gauge";
  g.pulses_per_rev = 3;
  g.anchors = {{"pit", 3720}, {"shift", 7600}};
  g.lamps = {{"left", {"white", "blue"}},
             {"mid", {"blue", "magenta"}},
             {"right", {"white", "magenta"}},
             {"top", {"magenta"}}};
  const auto lit = [&](const char* lamp, const char* colour) { return g.channel(lamp, colour); };
  const Channels left = lit("left", "white");
  const Channels right = lit("right", "white");
  const Channels top = lit("top", "magenta");
  g.windows = {{"quiet", 0, {}},
               {"closing", 3460, {left, 0}},
               {"on-limit", 3610, {lit("left", "blue") | lit("mid", "blue"), 0}},
               {"beyond", 3720, {lit("mid", "magenta") | lit("right", "magenta"), 0}},
               {"running", 4140, {}},
               {"count-in-1", 7000, {left, 0}},
               {"count-in-2", 7200, {left | right, 0}},
               {"count-in-3", 7400, {left | right | lit("mid", "blue"), 0}},
               {"shift", 7600, {left | right | top, 0}},
               {"over-rev", 7950, {0, top}}};
  g.deadband = {7, Sits::below};
  g.blink = Blink{4, 0.5};
  g.tolerance.rpm = 3;
  g.tolerance.response_to = 120 * ns_per_ms;
  return g;
}

// 2000 rpm for 1 s, up to 8200 at 150 rpm/s, 2 s there, down again, 1 s, then
// a step to 3700 for 2 s.
inline constexpr double rate = 150;
inline constexpr Nanos ramp_lasts = 41'333'333'333;  // 6200 rpm at that rate
inline constexpr Nanos up = ns_per_s;
inline constexpr Nanos top_reached = up + ramp_lasts;
inline constexpr Nanos down = top_reached + 2 * ns_per_s;
inline constexpr Nanos bottom_reached = down + ramp_lasts;
inline constexpr Nanos stepped = bottom_reached + ns_per_s;
inline constexpr Nanos over = stepped + 2 * ns_per_s;

inline std::vector<RpmPoint> rpm() {
  return {{0, 2000},       {up, 2000},      {top_reached, 8200}, {down, 8200}, {bottom_reached, 2000},
          {stepped, 2000}, {stepped, 3700}, {over, 3700}};
}

struct Visit {
  std::size_t boundary;
  Direction direction;
  double nominal_rpm;
  Nanos crossed;  // the exact threshold
};

inline std::vector<Visit> ramp_visits(const Gauge& g) {
  std::vector<Visit> visits;
  for (std::size_t b = 1; b < g.windows.size(); ++b)
    visits.push_back(
        {b, Direction::rising, g.rising_rpm(b), up + from_seconds((g.rising_rpm(b) - 2000) / rate)});
  for (std::size_t b = g.windows.size() - 1; b > 0; --b)
    visits.push_back(
        {b, Direction::falling, g.falling_rpm(b), down + from_seconds((8200 - g.falling_rpm(b)) / rate)});
  return visits;
}

inline constexpr Nanos response = 20 * ns_per_ms;

// What a good unit answering after `response` does, boundary `late` changing
// `by_rpm` further on.
inline TransitionResult transition(const Gauge& g, const Visit& v, double by_rpm) {
  const double sign = v.direction == Direction::rising ? 1 : -1;
  TransitionResult t;
  t.boundary = g.windows[v.boundary].name;
  t.direction = v.direction;
  t.nominal_rpm = v.nominal_rpm;
  t.nominal = v.crossed;
  t.earliest = v.crossed - from_seconds(3 / rate);
  t.latest = v.crossed + from_seconds(3 / rate) + g.tolerance.response_to;
  t.seen = true;
  t.at = v.crossed + response + from_seconds(by_rpm / rate);
  t.rate_rpm_per_s = sign * rate;
  t.observed_rpm = v.nominal_rpm + sign * (by_rpm + rate * to_seconds(response));
  t.deviation_rpm = t.observed_rpm - t.nominal_rpm;
  const double most = 3 + rate * to_seconds(g.tolerance.response_to);
  t.lowest_rpm = sign > 0 ? -3 : -most;
  t.highest_rpm = sign > 0 ? most : 3;
  t.expanded_uncertainty_rpm = 0.42;
  t.verdict =
      t.deviation_rpm <= t.highest_rpm && t.deviation_rpm >= t.lowest_rpm ? Verdict::pass : Verdict::fail;
  return t;
}

inline RunRecord begun() {
  RunRecord r;
  r.gauge = gauge();
  r.gauge_name = r.gauge.name;
  r.gauge_sha256 = std::string(64, 'a');
  r.scenario_name = "acceptance";
  r.scenario_sha256 = std::string(64, 'b');
  r.seed = 42;
  r.source = "simulated";
  r.watch = "simulated";
  r.source_description = "virtual time, 1 ns";
  r.watch_description = "simulated unit, response 20 ms";
  r.unit_serial = "DR-0117";
  r.started = "2031-03-14T09:26:53+01:00";
  r.tool_version = "0.1.0";
  r.inputs = {{"gauge.yaml", r.gauge_sha256},
              {"scenario.yaml", r.scenario_sha256},
              {"rig.yaml", std::string(64, 'c')}};
  return r;
}

struct Run {
  RunRecord record;
  Trace trace;
};

inline void add_steps(const Gauge& g, Run& run) {
  for (std::size_t b = 1; b <= 2; ++b) {
    TransitionResult t = transition(g, {b, Direction::rising, g.rising_rpm(b), stepped}, 0);
    t.earliest = t.nominal = stepped;
    t.latest = stepped + g.tolerance.response_to;
    t.at = stepped + response;
    t.step = true;
    t.rate_rpm_per_s = 0;
    t.observed_rpm = 3700;
    t.deviation_rpm = t.lowest_rpm = t.highest_rpm = t.expanded_uncertainty_rpm = not_measured;
    run.record.result.transitions.push_back(t);
  }
}

inline void add_lamps(const Gauge& g, Run& run) {
  run.trace.lamps.push_back({0, 0});
  run.trace.reaches.push_back({0, 0, 0});
  const auto window_of = [&](const TransitionResult& t) {
    std::size_t b = 1;
    while (g.windows[b].name != t.boundary) ++b;
    return b;
  };
  for (const TransitionResult& t : run.record.result.transitions) {
    const std::size_t b = window_of(t);
    const std::size_t now = t.direction == Direction::rising ? b : b - 1;
    if (!t.step) {
      run.trace.reaches.push_back({t.earliest, b - 1, b});
      run.trace.reaches.push_back({t.latest, now, now});
    } else if (b == 2) {
      run.trace.reaches.push_back({t.earliest, 0, b});
      run.trace.reaches.push_back({t.latest, b, b});
    }
    if (!t.seen) continue;
    run.trace.lamps.push_back({t.at, g.windows[now].cue.steady | g.windows[now].cue.blinking});
    if (g.windows[now].cue.blinking == 0) continue;
    const Nanos until = t.at + from_seconds(2 * 250 / rate + 1.9);
    for (Nanos at = t.at + 125 * ns_per_ms; at < until; at += 125 * ns_per_ms)
      run.trace.lamps.push_back({at, run.trace.lamps.back().lit ^ g.windows[now].cue.blinking});
  }
}

inline Run of(double on_limit_by_rpm) {
  Run run;
  run.record = begun();
  const Gauge g = run.record.gauge;
  RunResult& r = run.record.result;
  for (const Visit& v : ramp_visits(g)) {
    const bool moved = g.windows[v.boundary].name == "on-limit" && v.direction == Direction::rising;
    r.transitions.push_back(transition(g, v, moved ? on_limit_by_rpm : 0));
  }
  add_steps(g, run);
  run.trace.rpm = rpm();
  add_lamps(g, run);
  for (std::size_t b = 1; b < g.windows.size(); ++b)
    for (const Direction d : {Direction::rising, Direction::falling}) {
      const double nominal = d == Direction::rising ? g.rising_rpm(b) : g.falling_rpm(b);
      BoundaryResult boundary;
      boundary.boundary = g.windows[b].name;
      boundary.direction = d;
      boundary.nominal_rpm = nominal;
      boundary.threshold_rpm = nominal + 0.13;
      boundary.expanded_uncertainty_rpm = 0.61;
      boundary.response_ms = 20.4;
      boundary.response_uncertainty_ms = 1.2;
      boundary.visits = 1;
      boundary.verdict = Verdict::pass;
      if (b == 2 && d == Direction::rising && on_limit_by_rpm != 0) {
        boundary.threshold_rpm += on_limit_by_rpm;
        boundary.verdict = Verdict::fail;
      }
      r.boundaries.push_back(boundary);
    }
  r.blinks = {{"over-rev", "top magenta", 4.002, 0.498, 19, Verdict::pass}};
  r.answers = {{down, "Peak shown on the dial, rpm?", "8197", "8200 within 10", Verdict::pass}};
  r.flicker = {{"beyond", 3719.2, 120, 3, 1.5, 3.88, not_measured, Verdict::pass}};
  r.levels = {{"top magenta", 1, 0}};
  r.not_judged = {};
  r.duration = over;
  r.complete = true;
  r.verdict = Verdict::pass;
  r.evidence = {26'412, run.trace.lamps.size() - 1, 0};
  return run;
}

inline Run passing() { return of(0); }

// on-limit comes 31 rpm late on the way up, and the top lamp was not wired.
inline Run failing() {
  Run run = of(31);
  RunResult& r = run.record.result;
  r.verdict = Verdict::fail;
  for (const TransitionResult& t : r.transitions)
    if (t.verdict == Verdict::fail)
      r.findings.push_back(
          {FindingKind::late, t.latest, t.boundary, "",
           "The unit went to on-limit at 3644.0 rpm, 34.0 rpm above 3610.0 rpm; at this rate no "
           "more than 21.0 rpm is allowed."});
  r.findings.push_back({FindingKind::wrong_cue, r.findings[0].at, "on-limit", "left",
                        "The lamps showed left white where left blue, mid blue was due."});
  r.not_judged = {"top magenta"};
  r.notes = {"Scripted noise adds 0.00 rpm to the tolerance."};
  return run;
}

// The watcher went away on the way down.
inline Run undecided() {
  Run run = of(0);
  RunResult& r = run.record.result;
  r.verdict = Verdict::undecided;
  r.complete = false;
  for (TransitionResult& t : r.transitions)
    if (t.earliest > down) {
      t.seen = false;
      t.at = 0;
      t.observed_rpm = t.deviation_rpm = t.expanded_uncertainty_rpm = not_measured;
      t.verdict = Verdict::undecided;
    }
  for (BoundaryResult& b : r.boundaries)
    if (b.direction == Direction::falling) {
      b.threshold_rpm = b.expanded_uncertainty_rpm = b.response_ms = b.response_uncertainty_ms = not_measured;
      b.visits = 0;
      b.verdict = Verdict::undecided;
      b.remark = "Never visited on the way down.";
    }
  std::erase_if(run.trace.lamps, [](const LampEvent& e) { return e.at > down; });
  r.findings = {{FindingKind::lost_evidence, down, "", "", "The watcher was lost at 44.333 s."}};
  r.evidence.lost = 12;
  return run;
}

// One lamp, one boundary, one transition: small enough to be cut at every byte.
inline Run small() {
  Run run;
  run.record = begun();
  run.record.gauge.lamps = {{"eye", {"teal"}}};
  run.record.gauge.windows = {{"calm", 0, {}}, {"brisk", 3000, {1, 0}}};
  run.record.gauge.anchors.clear();
  run.record.gauge.blink.reset();
  RunResult& r = run.record.result;
  r.transitions = {transition(run.record.gauge, {1, Direction::rising, 3000, 2 * ns_per_s}, 0)};
  r.complete = true;
  r.verdict = Verdict::pass;
  r.duration = 3 * ns_per_s;
  r.evidence = {300, 1, 0};
  run.trace.rpm = {{0, 2700}, {3 * ns_per_s, 3150}};
  run.trace.lamps = {{0, 0}, {r.transitions[0].at, 1}};
  run.trace.reaches = {{0, 0, 0}, {r.transitions[0].earliest, 0, 1}, {r.transitions[0].latest, 1, 1}};
  return run;
}

}  // namespace tachproof::drumlin
