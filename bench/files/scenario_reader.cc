// Scenario files.
//
//     format: 1
//     kind: scenario
//     name: one line of text
//     seed: 0                     optional, a whole number up to 2^64-1
//     profile: [STEP, ...]
//     dwell: {limit_per_min: 1, confidence: 0.95, longest: 20min}   in place of a profile
//     noise: {...}                optional, see the noise reader
//     judge: {transitions: true, steady: true, blink: true, thresholds: false, within: RPM}   all optional
//
// A STEP is one of
//
//     {hold: RPM, for: DURATION}
//     {ramp: RPM, rate: RPM_PER_S}              from the rpm before, up or down
//     {ramp: RPM, for: DURATION}
//     {step: RPM}                               a jump; takes no time
//     {wave: MEAN, swing: RPM, period: DURATION, for: DURATION}
//     {replay: FILE, time: COLUMN, rpm: COLUMN, ...}   an rpm log; see replay_step.cc
//     {press: ACTION, for: DURATION}            for: 100ms unless given
//     {power: off, for: TIME}             the unit loses its supply, the pulses go on
//     {supply: 9V, to: 14V, for: TIME}    what the unit is fed; 'to' for a ramp
//     {ask: TEXT, expect: {equals: peak | NUMBER | TEXT, within: NUMBER}}
//     {repeat: TIMES, steps: [STEP, ...]}
//
// An RPM is 0 to 20000. `within` goes with a number or with peak, and is 0
// unless given; peak is the highest rpm so far, in quotes too. The profile starts
// from 0 rpm, has at most 1,000,000 steps (every round of a repeat and every
// sample of a log counted) and lasts at most 7 days.
#include <cmath>
#include <limits>

#include "bench/files/readers.h"
#include "core/base/words.h"

namespace tachproof {
namespace {

constexpr Range rpm_range{0, Profile::max_rpm};
constexpr Range rate_range{0, 1e6, true};

// What steps amount to, before a profile is made of them. How long a ramp by
// rate takes depends on the rpm before it; one that comes before any rpm is
// set is kept aside as `lead`.
struct Extent {
  double seconds = 0;  // without the lead
  double steps = 0;    // every round of a repeat counted
  std::optional<RampByRate> lead;
  std::optional<double> rpm;  // after the last step, when it sets one
};

double seconds_of(const RampByRate& ramp, double from_rpm) {
  return std::abs(ramp.to_rpm - from_rpm) / ramp.rpm_per_s;
}

void append(Extent& all, const Extent& more) {
  if (more.lead && all.rpm)
    all.seconds += seconds_of(*more.lead, *all.rpm);
  else if (more.lead)
    all.lead = more.lead;
  all.seconds += more.seconds;
  all.steps += more.steps;
  if (more.rpm) all.rpm = more.rpm;
}

Extent extent_of(const std::vector<Step>& steps);

struct ExtentOf {
  Extent operator()(const Hold& s) const { return {to_seconds(s.lasts), 1, {}, s.rpm}; }
  Extent operator()(const RampByRate& s) const { return {0, 1, s, s.to_rpm}; }
  Extent operator()(const RampByTime& s) const { return {to_seconds(s.lasts), 1, {}, s.to_rpm}; }
  Extent operator()(const StepTo& s) const { return {0, 1, {}, s.rpm}; }
  Extent operator()(const Wave& s) const {
    const double turns = to_seconds(s.lasts) / to_seconds(s.period);
    return {to_seconds(s.lasts), 1, {}, s.mean_rpm + s.swing_rpm * std::sin(2 * M_PI * turns)};
  }
  Extent operator()(const LoggedRpm& s) const {
    return {to_seconds(s.samples->back().at),
            static_cast<double>(s.samples->size() - 1),
            {},
            s.samples->back().rpm};
  }
  Extent operator()(const Press& s) const { return {to_seconds(s.lasts), 1, {}, {}}; }
  Extent operator()(const PowerOff& s) const { return {to_seconds(s.lasts), 1, {}, {}}; }
  Extent operator()(const Supply& s) const { return {to_seconds(s.lasts), 1, {}, {}}; }
  Extent operator()(const Ask&) const { return {0, 1, {}, {}}; }
  Extent operator()(const Repeat& s) const {
    Extent all = extent_of(s.steps);
    const double between = all.lead ? seconds_of(*all.lead, *all.rpm) : 0;
    all.seconds = s.times * all.seconds + (s.times - 1) * between;
    all.steps *= s.times;
    return all;
  }
};

Extent extent_of(const std::vector<Step>& steps) {
  Extent all;
  for (const Step& step : steps) append(all, std::visit(ExtentOf{}, step));
  return all;
}

class StepsReader {
 public:
  StepsReader(NamedFiles& files, std::vector<LogFacts>& logs, ErrorList& errors,
              std::vector<SupplyPlace>* supplied)
      : files_(files), logs_(logs), errors_(errors), supplied_(supplied) {}

  std::vector<Step> read(const YamlNode& list) {
    std::vector<Step> steps;
    for (const YamlNode* node : list.items) {
      Mapping m(*node, errors_, "a step");
      if (!m.sound()) continue;
      if (std::optional<Step> step = read(m)) steps.push_back(std::move(*step));
    }
    return steps;
  }

 private:
  std::optional<Step> read(Mapping& m) {
    std::optional<Step> step;
    if (m.has("hold"))
      step = hold(m);
    else if (m.has("ramp"))
      step = ramp(m);
    else if (m.has("step"))
      step = jump(m);
    else if (m.has("wave"))
      step = wave(m);
    else if (m.has("replay"))
      step = read_replay(m, files_, logs_, errors_);
    else if (m.has("press"))
      step = press(m);
    else if (m.has("power"))
      step = power(m);
    else if (m.has("supply"))
      step = supply(m);
    else if (m.has("ask"))
      step = ask(m);
    else if (m.has("repeat"))
      step = repeat(m);
    else {
      unknown_step(m);
      return std::nullopt;
    }
    m.finish();
    return step;
  }

  void unknown_step(const Mapping& m) {
    const std::vector<std::string> kinds{"hold",  "ramp",  "step",   "wave", "replay",
                                         "press", "power", "supply", "ask",  "repeat"};
    if (m.first_key() == nullptr)
      errors_.add(m.at(), "an empty step", "allowed: " + joined(kinds));
    else
      unknown_word(m.first_key()->at, "step", m.first_key()->text, kinds, errors_);
  }

  Step hold(Mapping& m) {
    Hold step;
    m.number("hold", step.rpm, rpm_range, Need::must);
    m.duration("for", step.lasts, Need::must);
    return step;
  }

  Step ramp(Mapping& m) {
    double to_rpm = 0;
    m.number("ramp", to_rpm, rpm_range, Need::must);
    if (m.has("rate") == m.has("for"))
      errors_.add(
          m.at(),
          m.has("rate") ? "a ramp with both 'rate' and 'for'" : "a ramp with neither 'rate' nor 'for'",
          "one of the two");
    // A rate that is wrong must not divide by zero later.
    RampByRate by_rate{to_rpm, 1};
    RampByTime by_time{to_rpm, 0};
    m.number("rate", by_rate.rpm_per_s, rate_range, Need::may);
    m.duration("for", by_time.lasts, Need::may);
    if (m.has("rate")) return by_rate;
    return by_time;
  }

  Step jump(Mapping& m) {
    StepTo step;
    m.number("step", step.rpm, rpm_range, Need::must);
    return step;
  }

  Step wave(Mapping& m) {
    Wave step{0, 0, ns_per_s, 0};
    m.number("wave", step.mean_rpm, rpm_range, Need::must);
    const bool has_swing = m.number("swing", step.swing_rpm, rpm_range, Need::must);
    m.duration("period", step.period, Need::must);
    m.duration("for", step.lasts, Need::must);
    const double lowest = step.mean_rpm - step.swing_rpm;
    const double highest = step.mean_rpm + step.swing_rpm;
    if (has_swing && (lowest < 0 || highest > Profile::max_rpm))
      errors_.add(m.place("swing"),
                  "a wave from " + number_text(lowest) + " to " + number_text(highest) + " rpm",
                  "from 0 to 20000 rpm");
    return step;
  }

  Step press(Mapping& m) {
    Press step{"", 100 * ns_per_ms};
    m.name("press", step.action, Need::must);
    m.duration("for", step.lasts, Need::may);
    return step;
  }

  Step power(Mapping& m) {
    PowerOff step;
    std::string off;
    m.choice("power", off, {"off"}, Need::must);
    m.duration("for", step.lasts, Need::must);
    return step;
  }

  Step supply(Mapping& m) {
    Supply step;
    if (m.volts("supply", step.from_v, Need::must)) step.to_v = step.from_v;
    m.volts("to", step.to_v, Need::may);
    m.duration("for", step.lasts, Need::must);
    if (supplied_ != nullptr)
      supplied_->push_back(
          {std::min(step.from_v, step.to_v), std::max(step.from_v, step.to_v), m.at().line, m.at().column});
    return step;
  }

  Step ask(Mapping& m) {
    Ask step;
    m.text("ask", step.question, Need::must);
    const YamlNode* expect = m.any("expect", Need::must);
    if (expect == nullptr) return step;
    Mapping e(*expect, errors_, "an answer");
    if (const YamlNode* equals = e.any("equals", Need::must)) {
      if (const std::optional<double> number = plain_number(*equals)) {
        step.wants = Ask::Wants::number;
        step.number = *number;
      } else if (equals->text == "peak") {
        step.wants = Ask::Wants::peak;
      } else {
        read_text(*equals, "'equals'", step.text, errors_);
      }
    }
    e.number("within", step.within, {0, 1e9}, Need::may);
    if (step.wants == Ask::Wants::text && e.has("within") && e.has("equals"))
      errors_.add(e.place("within"), "'within' beside a text", "'within' beside a number or peak");
    e.finish();
    return step;
  }

  Step repeat(Mapping& m) {
    Repeat step;
    std::uint64_t times = 1;
    m.whole("repeat", times, 1, Profile::max_segments, Need::must);
    step.times = static_cast<int>(times);
    if (const YamlNode* steps = m.list("steps", Need::must)) step.steps = read(*steps);
    return step;
  }

  NamedFiles& files_;
  std::vector<LogFacts>& logs_;
  ErrorList& errors_;
  std::vector<SupplyPlace>* supplied_;  // where they stand; may be null
};

JudgeWhat read_judge(const YamlNode& node, ErrorList& errors) {
  JudgeWhat what;
  Mapping m(node, errors, "judge");
  m.flag("transitions", what.transitions, Need::may);
  m.flag("steady", what.steady, Need::may);
  m.flag("blink", what.blink, Need::may);
  m.flag("thresholds", what.thresholds, Need::may);
  m.number("within", what.within_rpm, {0, 1e4, true}, Need::may);
  m.finish();
  return what;
}

// A dwell that is too short for its confidence could only be undecided: it is
// refused here, with the time that it needs.
Dwell read_dwell(const YamlNode& node, ErrorList& errors) {
  Dwell dwell;
  Mapping m(node, errors, "dwell");
  const std::size_t before = errors.values();
  m.number("limit_per_min", dwell.limit_per_min, {0, 1e4, true}, Need::must);
  m.number("confidence", dwell.confidence, {0.5, 0.9999}, Need::may);
  m.duration("longest", dwell.longest, Need::must);
  m.finish();
  if (errors.values() == before && dwell.longest < dwell.shortest())
    errors.add(m.place("longest"), "a dwell of " + number_text(to_seconds(dwell.longest)) + " s",
               "at least " + number_text(std::ceil(to_seconds(dwell.shortest()))) +
                   " s: in less time, even a unit that never flickers cannot pass with this confidence");
  return dwell;
}

}  // namespace

std::vector<Step> read_profile(const YamlNode& list, NamedFiles& files, std::vector<LogFacts>& logs,
                               ErrorList& errors, std::vector<SupplyPlace>* supplied) {
  const std::size_t before = errors.values();
  std::vector<Step> steps = StepsReader(files, logs, errors, supplied).read(list);
  if (errors.values() != before) return steps;
  Extent all{0, 0, {}, 0.0};
  append(all, extent_of(steps));
  if (all.steps > static_cast<double>(Profile::max_segments))
    errors.add(list.at, "a profile of " + number_text(all.steps) + " steps, repeats counted",
               "at most 1000000");
  if (all.seconds == 0) errors.add(list.at, "a profile that takes no time", "at least one step that lasts");
  if (all.seconds > to_seconds(longest_duration))
    errors.add(list.at, "a profile of " + number_text(std::ceil(all.seconds / 360) / 10) + " h",
               "at most 168 h (7 days)");
  return steps;
}

ScenarioFile read_scenario(const YamlNode& root, const std::filesystem::path& folder, ErrorList& errors,
                           NamedFiles::Copies copies) {
  ScenarioFile scenario;
  NamedFiles files(folder, copies);
  Mapping file(root, errors, "a scenario");
  if (!read_header(file, "scenario", errors)) return scenario;
  file.text("name", scenario.name, Need::must);
  file.whole("seed", scenario.seed, 0, std::numeric_limits<std::uint64_t>::max(), Need::may);
  const bool dwells = file.has("dwell");
  if (dwells && file.has("profile"))
    errors.add(file.place("dwell"), "'dwell' beside 'profile'", "one of the two");
  if (const YamlNode* list = file.list("profile", dwells ? Need::may : Need::must))
    scenario.steps = read_profile(*list, files, scenario.logs, errors, &scenario.supplied);
  if (const YamlNode* node = file.any("dwell", Need::may)) scenario.dwell = read_dwell(*node, errors);
  if (const YamlNode* node = file.any("noise", Need::may)) {
    Mapping block(*node, errors, "noise");
    scenario.noise = read_noise_keys(block, files, errors);
  }
  if (const YamlNode* node = file.any("judge", Need::may)) scenario.judge = read_judge(*node, errors);
  file.finish();
  scenario.named = files.take();
  return scenario;
}

}  // namespace tachproof
