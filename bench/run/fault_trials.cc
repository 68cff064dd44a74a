#include "bench/run/fault_trials.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "bench/rigs/simulated/simulated_unit.h"
#include "bench/run/runner.h"
#include "core/judge/allowance.h"
#include "core/judge/expected_states.h"
#include "core/judge/judge.h"
#include "core/signal/pulse_train.h"

namespace tachproof {
namespace {

constexpr Nanos disturbed_before = 10 * ns_per_ms;

const FaultKind* in_catalogue(std::string_view kind) {
  for (const FaultKind& known : fault_catalogue())
    if (known.kind == kind) return &known;
  return nullptr;
}

bool takes(const std::vector<std::string>& names, const std::string& name) {
  return std::find(names.begin(), names.end(), name) != names.end();
}

}  // namespace

std::optional<FaultSetting> setting_of(const Fault& fault, const Gauge& gauge) {
  const bool dark = fault.kind == Fault::Kind::lamp_dark;
  const std::string kind(word(dark ? Fault::Kind::stuck_off : fault.kind));
  const FaultKind* known = in_catalogue(kind);
  if (known == nullptr) return std::nullopt;
  FaultSetting setting{kind, {}, {}};
  const FaultKeys keys = keys_of(fault, gauge);
  for (const auto& [name, text] : keys.words)
    if (takes(known->words, name) || takes(known->optional_words, name)) setting.words[name] = text;
  for (const auto& [name, value] : keys.numbers) setting.numbers[name] = value;
  return setting;
}

FaultTrials::FaultTrials(const Gauge& gauge, TrialScenario scenario, RigModel rig)
    : gauge_(gauge), scenario_(std::move(scenario)), rig_(std::move(rig)) {
  setup_.what = scenario_.what;
  setup_.noise = scenario_.noise;
  setup_.wired = rig_.wired & gauge_.all_channels();
  setup_.bench = rig_.bench;
  ExpectationOptions options;
  options.source_lag = rig_.bench.source.lag;
  options.extra_rpm = [this](double rpm) {
    return rig_.bench.source.rpm + noise_allowance_rpm(scenario_.noise, gauge_, rpm);
  };
  expected_ = expect(gauge_, scenario_.profile, options);
  make_pulses();
}

void FaultTrials::make_pulses() {
  if (rig_.steps) {
    pulses_ = rig_.stepped_pulses(scenario_.profile, gauge_.pulses_per_rev);
    return;
  }
  PulseTrain train(scenario_.profile, gauge_.pulses_per_rev, scenario_.noise, scenario_.seed);
  std::array<Nanos, 4096> block;
  while (const std::size_t n = train.next(block)) {
    pulses_.insert(pulses_.end(), block.begin(), block.begin() + static_cast<std::ptrdiff_t>(n));
    for (const Disturbance& d : train.take_disturbances())
      disturbed_.emplace_back(d.at - disturbed_before,
                              d.at + disturbance_lasts(gauge_, scenario_.profile.rpm_at(d.at)));
  }
}

RunResult FaultTrials::healthy(const Behaviour& behaviour) const { return judge(gauge_, behaviour); }

RunResult FaultTrials::with(const Fault& fault, const Gauge* other) const {
  if (fault.kind == Fault::Kind::no_signal) return judge(gauge_, rig_.behaviour, false);
  if (fault.kind == Fault::Kind::settings_of && other != nullptr) return judge(*other, rig_.behaviour);
  if (std::optional<FaultSetting> setting = setting_of(fault, gauge_)) {
    Behaviour behaviour = rig_.behaviour;
    behaviour.faults.push_back(std::move(*setting));
    return judge(gauge_, behaviour);
  }
  return judge(with_fault(gauge_, fault), rig_.behaviour);
}

RunResult FaultTrials::judge(const Gauge& unit, const Behaviour& behaviour, bool hears) const {
  const Profile& profile = scenario_.profile;
  const Nanos end = profile.duration();
  SimulatedUnit simulated(unit, behaviour, gauge_, scenario_.seed);
  StateJudge judge(gauge_, setup_);
  for (const auto& [from, to] : disturbed_) judge.disturbed(from, to);
  tell(judge, profile);
  for (const Action& action : profile.actions()) simulated.act(action);
  std::vector<LampEvent> events;
  auto next = pulses_.begin();
  const auto live_until = [&](Nanos until) {
    const auto reached = std::upper_bound(next, pulses_.end(), until);
    simulated.run(hears ? std::span<const Nanos>(next, reached) : std::span<const Nanos>(), until, events);
    next = reached;
  };
  for (const Action& action : profile.actions())
    if (const Ask* ask = std::get_if<Ask>(&action.what)) {
      live_until(action.at);
      std::optional<std::string> answer;
      if (ask->wants == Ask::Wants::peak) answer = fmt::format("{}", simulated.peak_rpm());
      judge.answered(judge_answer(*ask, action.at, judge.peaks(action.at), answer));
    }
  live_until(end);
  judge.lamps(rig_.stamped(std::move(events), end, scenario_.seed));
  judge.pulses(pulses_.size());
  return judge.finish(end);
}

std::vector<FaultTrials::Stay> FaultTrials::stays_in(std::size_t window) const {
  std::vector<Stay> stays;
  const std::vector<Reach>& reaches = expected_.reaches;
  for (std::size_t i = 0; i < reaches.size(); ++i) {
    if (reaches[i].lowest != window || reaches[i].highest != window) continue;
    const Nanos to = i + 1 < reaches.size() ? reaches[i + 1].from : scenario_.profile.duration();
    if (to > reaches[i].from) stays.push_back({reaches[i].from, to});
  }
  return stays;
}

Nanos FaultTrials::shown_for(std::size_t window) const {
  Nanos longest = 0;
  for (const Stay& stay : stays_in(window)) longest = std::max(longest, stay.to - stay.from);
  return longest;
}

std::optional<Fault> FaultTrials::placed(const Fault& fault) const {
  const bool freezes = fault.kind == Fault::Kind::freeze;
  if ((!freezes && fault.kind != Fault::Kind::reset) || fault.size || !fault.window) return fault;
  const std::vector<Stay> stays = stays_in(*fault.window);
  if (stays.empty()) return std::nullopt;
  Stay stay = stays.front();
  if (!freezes)
    stay = *std::max_element(stays.begin(), stays.end(),
                             [](const Stay& a, const Stay& b) { return a.to - a.from < b.to - b.from; });
  Fault at = fault;
  at.size = to_seconds(stay.from + (stay.to - stay.from) / 2);
  return at;
}

std::optional<Nanos> first_fail_at(const RunResult& result) {
  std::optional<Nanos> first;
  const auto failed = [&](Nanos at) { first = std::min(first.value_or(at), at); };
  for (const Finding& finding : result.findings)
    if (verdict_of(finding.kind) == Verdict::fail) failed(finding.at);
  for (const TransitionResult& t : result.transitions)
    if (t.verdict == Verdict::fail) failed(t.seen ? t.at : t.latest);
  return first;
}

}  // namespace tachproof
