#include "bench/run/grade.h"

#include <algorithm>
#include <atomic>
#include <cmath>
#include <functional>
#include <stdexcept>
#include <thread>

#include "bench/run/escapes.h"

namespace tachproof {
namespace {

// Sizes in tolerances. Within its tolerance a unit is right; a fault that is not noticed
// at the largest is not looked for further.
constexpr double least_tried = 0.5, most_tried = 32;
constexpr double fine_enough = 0.02;

// Task i for every i below `count`, on so many threads. The first exception is thrown again.
void for_all(std::size_t count, unsigned threads, const std::function<void(std::size_t)>& task) {
  if (threads == 0) threads = std::max(1u, std::thread::hardware_concurrency());
  threads = static_cast<unsigned>(std::min<std::size_t>(threads, std::max<std::size_t>(count, 1)));
  std::atomic<std::size_t> next = 0;
  std::vector<std::exception_ptr> failed(threads);
  const auto work = [&](unsigned t) {
    try {
      for (std::size_t i = next++; i < count; i = next++) task(i);
    } catch (...) {
      failed[t] = std::current_exception();
      next = count;
    }
  };
  {
    std::vector<std::jthread> others;
    for (unsigned t = 1; t < threads; ++t) others.emplace_back(work, t);
    work(0);
  }
  for (const std::exception_ptr& e : failed)
    if (e) std::rethrow_exception(e);
}

class Grading {
 public:
  Grading(const Gauge& gauge, const GradeAsk& ask) : gauge_(gauge), ask_(ask), list_(fault_list(gauge)) {
    for (const auto& [file, other] : ask.among) {
      const std::size_t before = list_.faults.size();
      add_settings_of(list_, gauge, file, other);
      others_.resize(list_.faults.size(), nullptr);
      if (list_.faults.size() > before) others_.back() = &other;
    }
    others_.resize(list_.faults.size(), nullptr);
    for (const TrialScenario& scenario : ask.scenarios) trials_.emplace_back(gauge, scenario, ask.rig);
  }

  Grade all() {
    Grade grade;
    grade.gauge = gauge_;
    grade.rig = ask_.rig.words;
    grade.shard = ask_.shard;
    grade.shards = ask_.shards;
    for (const FaultTrials& trial : trials_) {
      const RunResult sound = trial.healthy();
      grade.scenarios.push_back({trial.scenario().name, trial.scenario().profile.duration(), sound.verdict,
                                 sound.verdict == Verdict::pass ? "" : why_not_pass(sound)});
    }
    sound_ = grade.scenarios;
    std::vector<std::size_t> mine;
    for (std::size_t i = 0; i < list_.faults.size(); ++i)
      if (static_cast<int>(i % static_cast<std::size_t>(ask_.shards)) == ask_.shard - 1) mine.push_back(i);
    grade.faults.resize(mine.size());
    for_all(mine.size(), ask_.threads, [&](std::size_t i) {
      if (ask_.between) ask_.between();
      grade.faults[i] = graded(mine[i]);
    });
    grade.left_out = list_.left_out;
    for (const GradedFault& fault : grade.faults) note_shift(fault, grade);
    return grade;
  }

 private:
  static std::string why_not_pass(const RunResult& sound) {
    if (sound.verdict == Verdict::undecided) return why_undecided(sound);
    for (const Finding& finding : sound.findings)
      if (verdict_of(finding.kind) == Verdict::fail) return finding.message;
    return "a unit without a fault is outside its limits";
  }

  RunResult tried(const FaultTrials& trial, std::size_t index, const Fault& fault) const {
    const std::optional<Fault> placed = trial.placed(fault);
    return placed ? trial.with(*placed, others_[index]) : trial.healthy();
  }
  bool caught(const FaultTrials& trial, std::size_t index, const Fault& fault) const {
    return tried(trial, index, fault).verdict == Verdict::fail;
  }
  // A scenario that fails a sound unit catches nothing.
  bool counts(std::size_t scenario) const { return sound_[scenario].sound != Verdict::fail; }

  GradedFault graded(std::size_t index) const {
    GradedFault fault;
    fault.listed = list_.faults[index];
    fault.verdict = Verdict::pass;
    RunResult last;
    bool any = false;
    for (std::size_t s = 0; s < trials_.size() && fault.verdict != Verdict::fail; ++s) {
      if (!counts(s)) continue;
      RunResult result = tried(trials_[s], index, fault.listed.fault);
      if (result.verdict == Verdict::fail) {
        fault.verdict = Verdict::fail;
        fault.scenario = sound_[s].name;
        fault.at = first_fail_at(result).value_or(result.duration);
        fault.why = {};
      } else if (result.verdict == Verdict::undecided) {
        fault.verdict = Verdict::undecided;
        fault.why = same_for_all(why_undecided(result));
      }
      if (!any || result.verdict == Verdict::pass) last = std::move(result);
      any = true;
    }
    if (!any) {
      fault.verdict = Verdict::undecided;
      fault.why = same_for_all("a unit without a fault fails this scenario, so its fails say nothing");
      return fault;
    }
    if (fault.listed.sized() && ask_.sizes) fault.smallest = smallest(index, fault.verdict == Verdict::fail);
    if (fault.verdict == Verdict::pass)
      fault.why =
          why_escaped(gauge_, trials_[best_for(fault.listed.fault)], fault.listed, fault.smallest, last);
    return fault;
  }

  // The scenario that shows most of where the fault is.
  std::size_t best_for(const Fault& fault) const {
    std::size_t best = 0;
    Nanos longest = -1;
    for (std::size_t s = 0; s < trials_.size(); ++s) {
      const Nanos shown = fault.window ? trials_[s].shown_for(*fault.window) : 0;
      if (!counts(s) || shown <= longest) continue;
      longest = shown;
      best = s;
    }
    return best;
  }

  bool caught_by_any(std::size_t index, double tolerances) const {
    const Fault fault = list_.faults[index].by(tolerances);
    if (!can_be(fault)) return false;
    for (std::size_t s = 0; s < trials_.size(); ++s)
      if (counts(s) && caught(trials_[s], index, fault)) return true;
    return false;
  }

  static bool can_be(const Fault& fault) {
    const double size = fault.size.value_or(0);
    switch (fault.kind) {
      case Fault::Kind::deadband_width: return size >= 0;
      case Fault::Kind::blink_rate: return size > 0.05 && size < 100;
      case Fault::Kind::blink_duty: return size > 0.01 && size < 0.99;
      case Fault::Kind::slow_response:
      case Fault::Kind::slow_filter: return size <= 60'000;
      default: return std::abs(size) < 10'000;
    }
  }

  double smallest(std::size_t index, bool caught_as_graded) const {
    double low = least_tried, high = graded_tolerances;
    if (!caught_as_graded) {
      do {
        low = high;
        high *= 2;
        if (high > most_tried) return not_measured;
      } while (!caught_by_any(index, high));
    }
    while (high - low > fine_enough * high / 2) {
      const double middle = (low + high) / 2;
      (caught_by_any(index, middle) ? high : low) = middle;
    }
    return list_.faults[index].by(high).size.value();
  }

  void note_shift(const GradedFault& fault, Grade& grade) const {
    if (fault.listed.fault.kind != Fault::Kind::boundary_moved) return;
    const bool up = fault.listed.per_tolerance > 0;
    grade.shifts.push_back({fault.listed.fault.boundary.value(), up, std::abs(fault.smallest)});
  }

  const Gauge& gauge_;
  const GradeAsk& ask_;
  FaultList list_;
  std::vector<const Gauge*> others_;  // for each fault of the list; null: none
  std::vector<FaultTrials> trials_;
  std::vector<GradedScenario> sound_;
};

}  // namespace

std::size_t Grade::count(Verdict verdict) const {
  return static_cast<std::size_t>(std::count_if(
      faults.begin(), faults.end(), [&](const GradedFault& fault) { return fault.verdict == verdict; }));
}

Nanos Grade::bench_time() const {
  Nanos all = 0;
  for (const GradedScenario& scenario : scenarios) all += scenario.lasts;
  return all;
}

Grade grade(const Gauge& gauge, const GradeAsk& ask) { return Grading(gauge, ask).all(); }

std::vector<std::size_t> not_caught(const FaultTrials& trials, const FaultList& list, std::size_t most,
                                    const std::vector<std::size_t>& first, unsigned threads,
                                    const std::function<void()>& between) {
  std::vector<std::size_t> order = first;
  for (std::size_t i = 0; i < list.faults.size(); ++i)
    if (std::find(first.begin(), first.end(), i) == first.end()) order.push_back(i);
  std::vector<char> missed(list.faults.size(), 0);
  std::atomic<std::size_t> misses = 0;
  for_all(order.size(), threads, [&](std::size_t i) {
    if (misses >= most) return;
    if (between) between();
    const std::optional<Fault> fault = trials.placed(list.faults[order[i]].fault);
    if (fault && trials.with(*fault).verdict == Verdict::fail) return;
    missed[order[i]] = 1;
    ++misses;
  });
  std::vector<std::size_t> places;
  for (std::size_t i = 0; i < missed.size(); ++i)
    if (missed[i]) places.push_back(i);
  return places;
}

}  // namespace tachproof
