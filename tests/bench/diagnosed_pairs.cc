#include "tests/bench/diagnosed_pairs.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdlib>
#include <ctime>
#include <optional>
#include <sstream>

#include "bench/rigs/simulated/faults.h"
#include "bench/rigs/simulated/simulated_unit.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "core/cause/shown.h"
#include "core/signal/pulse_train.h"
#include "tests/bench/mutation_oracle.h"

namespace tachproof {
namespace {

using Kind = Fault::Kind;

double cpu_seconds() { return static_cast<double>(std::clock()) / CLOCKS_PER_SEC; }

// What the true unit acts by, in rpm as the bench counts them.
Gauge truly_acts(const MutationPair& pair) {
  UnitSettings unit = healthy_settings(pair.runs, pair.behaviour);
  for (const FaultSetting& fault : pair.behaviour.faults) apply_fault(fault, unit);
  Gauge acts = unit.gauge;
  const double scale = acts.pulses_per_rev / pair.gauge.pulses_per_rev;
  for (Window& window : acts.windows) {
    if (window.from_rpm < 1e6) window.from_rpm *= scale;
    window.cue.steady = (window.cue.steady & ~unit.stuck_off & ~unit.stuck_on) | unit.stuck_on;
    window.cue.blinking &= ~unit.stuck_off & ~unit.stuck_on;
  }
  acts.deadband.rpm *= scale;
  while (acts.windows.size() > 1 && !std::isfinite(acts.windows.back().from_rpm)) acts.windows.pop_back();
  acts.pulses_per_rev = pair.gauge.pulses_per_rev;
  acts.tolerance = pair.gauge.tolerance;
  return acts;
}

bool no_settings(const std::string& kind) {
  return kind == "slow-filter" || kind == "slow-response" || kind == "dropped-updates" ||
         kind == "noisy-reading" || kind == "intermittent-lamp" || kind == "freeze" || kind == "reset";
}

// A response is slow either way.
std::string alike(std::string kind) {
  if (kind == "slow-filter") return "slow-response";
  if (kind == "lamp-dark") return "stuck-off";
  if (kind == "count-in-uneven") return "boundary-moved";
  return kind;
}

bool names(const MutationPair& pair, const FaultSetting& truth, const Fault& fault) {
  if (alike(truth.kind) != alike(std::string(word(fault.kind)))) return false;
  const FaultKeys keys = keys_of(fault, pair.gauge);
  for (const auto& [key, text] : keys.words) {
    const auto said = truth.words.find(key);
    if (key != "window" && said != truth.words.end() && said->second != text) return false;
  }
  return true;
}

// The anchor of the half that has moved.
bool names_anchor(const MutationPair& pair, const Hypothesis& hypothesis) {
  const std::size_t half = pair.gauge.windows.size() / 2, last = pair.gauge.windows.size() - 1;
  if (pair.runs.windows.size() != pair.gauge.windows.size()) return false;
  const bool upper = pair.runs.windows[last].from_rpm != pair.gauge.windows[last].from_rpm && half >= 1;
  return std::any_of(hypothesis.faults.begin(), hypothesis.faults.end(), [&](const Fault& fault) {
    return fault.kind == Kind::anchor_moved && *fault.anchor == (upper ? 1U : 0U);
  });
}

bool is_true(const MutationPair& pair, const Gauge& truth, const Hypothesis& hypothesis) {
  const double within = std::max(pair.gauge.tolerance.rpm / 4, 1.0);
  Gauge said = hypothesis.gauge;
  said.tolerance = truth.tolerance;
  const bool same = same_behaviour(said, truth, within);
  const auto named = [&](const FaultSetting& f) {
    return std::any_of(hypothesis.faults.begin(), hypothesis.faults.end(),
                       [&](const Fault& fault) { return names(pair, f, fault); });
  };
  const auto& faults = pair.behaviour.faults;
  // Every fault of the reading is named, and the settings are the same or every fault of them is named.
  const bool readings = std::all_of(faults.begin(), faults.end(),
                                    [&](const FaultSetting& f) { return !no_settings(f.kind) || named(f); });
  // A span is named as one: its last step stays, so that it is nearly, but not quite, another span.
  const auto is_named = [&](const Mutation& m) {
    if (m.kind == "settings: count-in span") return hypothesis.has(Kind::count_in_span);
    if (m.kind == "settings: anchor moved") return names_anchor(pair, hypothesis);
    const auto of_it = [&](const FaultSetting& f) { return f.kind == m.kind; };
    return std::any_of(faults.begin(), faults.end(), of_it) &&
           std::all_of(faults.begin(), faults.end(),
                       [&](const FaultSetting& f) { return !of_it(f) || named(f); });
  };
  return readings && (same || std::all_of(pair.mutations.begin(), pair.mutations.end(), is_named));
}

// Held against a gauge with the settings of the one, is a unit with both inside every tolerance?
bool leaves_no_trace(const MutationPair& both, const MutationPair& one) {
  MutationPair beside = both;
  beside.gauge = truly_acts(one);
  std::erase_if(beside.behaviour.faults, [&](const FaultSetting& f) {
    return no_settings(f.kind) && std::any_of(one.behaviour.faults.begin(), one.behaviour.faults.end(),
                                              [&](const FaultSetting& o) { return o.kind == f.kind; });
  });
  return truth_of(beside).truth == Truth::inside;
}

// Held by the judge against a gauge with the settings of the one, has the evidence a finding left? Of what is
// no setting nothing is asked: it may be there or not.
bool found_beside(const PlayedUnit& played, const MutationPair& one) {
  const auto& faults = one.behaviour.faults;
  if (std::any_of(faults.begin(), faults.end(), [](const FaultSetting& f) { return no_settings(f.kind); }))
    return true;
  return played.evidence.judged(as_it_acts(truly_acts(one))).verdict == Verdict::fail;
}

// Of a fault whose size is a number: what it truly is.
std::optional<double> true_size(const MutationPair& pair, const Fault& fault) {
  if (pair.mutations.size() != 1) return std::nullopt;
  const auto number = [&](const char* key) -> std::optional<double> {
    if (pair.behaviour.faults.size() != 1) return std::nullopt;
    const auto& numbers = pair.behaviour.faults.front().numbers;
    const auto found = numbers.find(key);
    return found == numbers.end() ? std::nullopt : std::optional(found->second);
  };
  switch (fault.kind) {
    case Kind::boundary_moved: return number("by_rpm");
    case Kind::deadband_width: return number("rpm");
    case Kind::wrong_pulses_per_rev: return number("pulses_per_rev");
    case Kind::anchor_moved: {
      const std::size_t w = *fault.anchor == 0 ? 1 : pair.gauge.windows.size() - 1;
      return pair.runs.windows.size() == pair.gauge.windows.size()
                 ? std::optional(pair.runs.windows[w].from_rpm - pair.gauge.windows[w].from_rpm)
                 : std::nullopt;
    }
    default: return std::nullopt;
  }
}

}  // namespace

std::string said(const DiagnosedPair& d) {
  std::string text = fmt::format("pair {}:", d.pair.number);
  for (const Mutation& m : d.pair.mutations) text += fmt::format(" {} x{:.2f}", m.kind, m.magnitude);
  for (const FaultSetting& f : d.pair.behaviour.faults) text += " [" + describe(f) + "]";
  text += d.traceless ? "; one leaves no trace" : d.shadowed ? "; one has no finding of its own" : "";
  text += d.listed ? "; listed, but first: " : "; said: ";
  if (d.diagnosis.causes.list.empty()) text += "nothing";
  for (const Cause& cause : d.diagnosis.causes.list)
    text += fmt::format("({} of {}) {} | ", cause.explains, cause.of, cause.text);
  return text;
}

PlayedUnit played_unit(const Gauge& gauge, const Gauge& runs, const Behaviour& behaviour,
                       const std::vector<Step>& steps, std::uint64_t seed) {
  const Profile profile{steps};
  PlayedUnit played;
  LoggedJudge judge(gauge, JudgeSetup{}, &played.evidence);
  for (const Segment& segment : profile.segments()) judge.rpm(segment);
  PulseTrain train(profile, gauge.pulses_per_rev);
  SimulatedUnit unit(runs, behaviour, gauge, seed);
  std::array<Nanos, 4096> block;
  std::vector<LampEvent> events;
  for (std::size_t n; (n = train.next(block)) > 0; events.clear()) {
    unit.run({block.data(), n}, block[n - 1], events);
    judge.lamps(events);
    judge.pulses(n);
  }
  unit.run({}, profile.duration(), events);
  judge.lamps(events);
  played.result = judge.finish(profile.duration());
  return played;
}

DiagnosedPair diagnosed_pair(std::uint64_t seed, std::uint64_t number) {
  std::vector<MutationPair> alone;
  MutationPair pair = mutation_pair(seed, number, &alone);
  // Which boundary hangs from which anchor.
  for (Gauge* gauge : {&pair.gauge, &pair.runs})
    for (std::size_t w = 1; w < gauge->windows.size(); ++w)
      gauge->windows[w].anchor = gauge->anchors[w >= pair.gauge.windows.size() / 2 ? 1 : 0].first;
  const std::vector<Step> steps = acceptance_steps(pair.gauge);
  return diagnosed_unit(std::move(pair), alone, steps);
}

DiagnosedPair diagnosed_unit(MutationPair given, const std::vector<MutationPair>& alone,
                             const std::vector<Step>& steps) {
  DiagnosedPair out;
  out.pair = std::move(given);
  MutationPair& pair = out.pair;
  const PlayedUnit played = played_unit(pair.gauge, pair.runs, pair.behaviour, steps, pair.number);
  pair.surveyed = false;
  out.result = played.result;
  out.verdict = played.result.verdict;
  const double before = cpu_seconds();
  out.diagnosis = diagnose(pair.gauge, {{played.result, played.evidence}});
  out.cpu_s = cpu_seconds() - before;
  const Gauge truth = truly_acts(pair);
  out.traceless = alone.size() > 1 && std::any_of(alone.begin(), alone.end(), [&](const MutationPair& one) {
                    return leaves_no_trace(pair, one);
                  });
  out.shadowed = alone.size() > 1 && !std::all_of(alone.begin(), alone.end(), [&](const MutationPair& one) {
                   return found_beside(played, one);
                 });
  for (std::size_t i = 0; i < out.diagnosis.hypotheses.size(); ++i)
    if (is_true(pair, truth, out.diagnosis.hypotheses[i])) {
      out.listed = true;
      out.first |= i == 0;
    }
  if (out.first && out.diagnosis.hypotheses.front().faults.size() == 1) {
    const Hypothesis& h = out.diagnosis.hypotheses.front();
    const std::optional<double> size = true_size(pair, h.faults.front());
    if (size && std::isfinite(h.u.front())) {
      out.sized = true;
      out.within_u = std::abs(h.faults.front().size.value_or(0) - *size) <= h.u.front();
    }
  }
  return out;
}

NamedLine line_of(std::uint64_t seed, const DiagnosedPair& d) {
  NamedLine line;
  line.seed = seed;
  line.number = d.pair.number;
  for (const Mutation& m : d.pair.mutations) line.kinds.push_back(m.kind);
  line.verdict = d.verdict;
  line.first = d.first;
  line.listed = d.listed;
  line.traceless = d.traceless;
  line.shadowed = d.shadowed;
  line.sized = d.sized;
  line.within_u = d.within_u;
  line.whole = !d.diagnosis.causes.list.empty() && d.diagnosis.causes.list.front().whole();
  line.causes = d.diagnosis.causes.list.size();
  line.cpu_s = d.cpu_s;
  line.said = said(d);
  return line;
}

std::string text_of(const NamedLine& l) {
  return fmt::format("{}\t{}\t{}\t{}\t{:d}{:d}{:d}{:d}{:d}{:d}{:d}\t{}\t{:.3f}\t{}\n", l.seed, l.number,
                     fmt::join(l.kinds, ","), word(l.verdict), l.first, l.listed, l.traceless, l.sized,
                     l.within_u, l.whole, l.shadowed, l.causes, l.cpu_s, l.said);
}

std::optional<NamedLine> named_line(const std::string& text) {
  std::vector<std::string> cells;
  std::istringstream in(text);
  for (std::string cell; cells.size() < 7 && std::getline(in, cell, '\t');) cells.push_back(cell);
  NamedLine l;
  if (cells.size() != 7 || cells[4].size() != 7 || !std::getline(in, l.said)) return std::nullopt;
  l.seed = std::strtoull(cells[0].c_str(), nullptr, 10);
  l.number = std::strtoull(cells[1].c_str(), nullptr, 10);
  std::istringstream kinds(cells[2]);
  for (std::string kind; std::getline(kinds, kind, ',');) l.kinds.push_back(kind);
  for (const Verdict v : {Verdict::pass, Verdict::fail, Verdict::undecided})
    if (word(v) == cells[3]) l.verdict = v;
  bool* const marks[] = {&l.first, &l.listed, &l.traceless, &l.sized, &l.within_u, &l.whole, &l.shadowed};
  for (std::size_t i = 0; i < 7; ++i) *marks[i] = cells[4][i] == '1';
  l.causes = std::strtoull(cells[5].c_str(), nullptr, 10);
  l.cpu_s = std::strtod(cells[6].c_str(), nullptr);
  return l;
}

void NamedStudy::add(const NamedLine& one) {
  cpu_s += one.cpu_s;
  longest_s = std::max(longest_s, one.cpu_s);
  if (one.kinds.empty()) {
    ++healthy;
    healthy_with_cause += one.causes > 0;
  }
  if (one.kinds.empty() || one.verdict != Verdict::fail) return;
  const auto count = [&](NamedCounts& counts) {
    ++counts.failed;
    counts.first += one.first;
    counts.listed += one.listed;
    counts.explained += one.whole;
  };
  const bool single = one.kinds.size() == 1;
  count(single ? singles : doubles);
  if (!single && !one.traceless) count(traced);
  if (!single && !one.traceless && !one.shadowed) count(found);
  if (single) count(kinds[one.kinds.front()]);
  sized += one.sized;
  within_u += one.within_u;
  if (!one.first || one.cpu_s > 3) misses.push_back(fmt::format("{:.1f} s, ", one.cpu_s) + one.said);
}

NamedStudy study_diagnoses(std::uint64_t count, std::uint64_t seed, std::uint64_t first) {
  NamedStudy study;
  for (std::uint64_t number = first; number < first + count; ++number)
    study.add(line_of(seed, diagnosed_pair(seed, number)));
  return study;
}

}  // namespace tachproof
