#include "bench/run/judge_again.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <system_error>

#include "bench/files/files.h"
#include "bench/files/regular_file.h"
#include "bench/record/checksums.h"
#include "bench/record/disk.h"
#include "bench/record/folder_format.h"
#include "bench/rigs/factory.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "bench/run/clip_evidence.h"
#include "bench/run/dwell_run.h"
#include "bench/run/recording_run.h"
#include "bench/run/runner.h"
#include "bench/run/scratch_folder.h"
#include "bench/run/stated_facts.h"
#include "bench/run/stop_request.h"
#include "bench/run/stored_person.h"
#include "core/plan/survey_scout.h"

namespace tachproof {
namespace {

constexpr std::size_t most_lamp_changes = 20'000'000;  // bounds the memory

std::uintmax_t size_of(const std::filesystem::path& file) {
  std::error_code error;
  const std::uintmax_t size = std::filesystem::file_size(file, error);
  return error ? 0 : size;
}

// What judging again may write: as much as the run had written, and a little. The inputs of a
// folder that somebody else has made may ask for a week at a million pulses a second.
class Limit {
 public:
  Limit(const std::filesystem::path& folder, std::filesystem::path again)
      : again_(std::move(again)), stored_(size_of(folder / "capture.vcd")) {
    const std::uintmax_t needed = stored_ + size_of(folder / "timeline.csv") + a_little;
    std::error_code error;
    const auto space = std::filesystem::space(again_.parent_path(), error);
    if (!error && space.available < needed)
      throw CannotJudgeAgain(
          fmt::format("that takes {} MB in {}, where {} MB are free; set TMPDIR to a folder with more room",
                      needed >> 20, again_.parent_path().parent_path().string(), space.available >> 20));
    hooks_.stop = [this] { return why_to_stop(); };
  }
  Limit(const Limit&) = delete;
  Limit& operator=(const Limit&) = delete;

  const RunHooks& hooks() const { return hooks_; }
  // Throws where it was stopped.
  void check() const {
    if (too_much_)
      throw MoreThanStored(fmt::format(
          "the run's inputs make more pulses and changes than its capture.vcd of {} bytes holds", stored_));
    if (stopped_) throw CannotJudgeAgain(*stopped_);
  }

 private:
  static constexpr std::uintmax_t a_little = 4 << 20;

  std::optional<std::string> why_to_stop() {
    too_much_ = too_much_ || size_of(again_ / "capture.vcd") > stored_ + a_little;
    if (too_much_) return "it writes more than the run had";
    stopped_ = stop_requested();
    return stopped_;
  }

  std::filesystem::path again_;
  std::uintmax_t stored_;
  RunHooks hooks_;
  bool too_much_ = false;
  std::optional<std::string> stopped_;
};

// Plays to nobody, with the facts of the source that the run had.
class StoredSource : public Source {
 public:
  StoredSource(const RunRecord& record, const StoredPerson& person) : person_(person) {
    facts_.kind = record.source;
    static_cast<SourceTiming&>(facts_) = record.bench.source;
    // A dwell decides as it goes, so it must be handed the same stretches.
    facts_.virtual_time = source_is_software(record.source);
  }
  SourceFacts facts() const override { return facts_; }
  void begin() override {}
  void play(const PulseBlock&) override {}
  bool can_press(const std::string& action) const override { return !person_.pressed(action); }
  void press(const Press&, Nanos) override {}
  bool can_power() const override { return !person_.fed("cut"); }
  void power_off(Nanos, Nanos) override {}
  bool can_supply() const override { return !person_.fed("set"); }
  void supply(const Supply&, Nanos) override {}
  void end() noexcept override {}

 private:
  SourceFacts facts_;
  const StoredPerson& person_;
};

// Reports the lamp changes that were stored, and the answers.
class StoredWatcher : public Watcher {
 public:
  StoredWatcher(const RunRecord& record, StoredPerson& person, Channels wired, std::vector<LampEvent> events)
      : stamps_(record.result.stamps), person_(person), events_(std::move(events)) {
    facts_.kind = record.watch;
    static_cast<WatcherTiming&>(facts_) = record.bench.watcher;
    facts_.wired = wired;
  }
  WatcherFacts facts() const override { return facts_; }
  void begin() override {}
  Seen collect(Nanos until, std::vector<LampEvent>& out) override {
    for (; next_event_ < events_.size() && events_[next_event_].at <= until; ++next_event_)
      out.push_back(events_[next_event_]);
    Seen seen{until, 0, ""};
    seen.stamps = stamps_;
    return seen;
  }
  std::optional<std::string> answer(const Ask&) override { return person_.at_once(); }
  void end() noexcept override {}

 private:
  const std::optional<StampTimes> stamps_;
  StoredPerson& person_;
  std::vector<LampEvent> events_;
  WatcherFacts facts_;
  std::size_t next_event_ = 0;
};

template <class Load>
auto loaded(Load load) -> decltype(load()) {
  try {
    return load();
  } catch (const FileErrors& e) {
    throw CannotJudgeAgain("an input of the run cannot be read: " + to_line(e.errors.front()));
  } catch (const RecordingError& e) {
    throw CannotJudgeAgain(std::string("the recording cannot be read: ") + e.what());
  }
}

// From the readings of every frame; nothing where the run has none, or had a device: what was
// known when is no part of them.
std::optional<RunResult> replay_clip(const std::filesystem::path& folder, const RunRecord& stored,
                                     const ScenarioFile& scenario, const Gauge& gauge, RunFolder& scratch,
                                     const RunHooks& hooks) {
  const WatchKind* kind = find_kind(watch_kinds(), stored.watch);
  if (kind == nullptr || !kind->films() || scenario.dwell || !is_file_there(folder / readings_name))
    return std::nullopt;
  const CameraSettings camera = loaded([&] { return kept_rig(folder); }).watch.camera;
  if (camera.live) return std::nullopt;
  Rig rig = loaded([&] { return camera_rig(camera, gauge, nullptr, stored_readings(folder)); });
  const Profile profile(scenario.steps);
  if (const auto why = rig.source->cannot_play({profile, gauge.pulses_per_rev, scenario.noise, false}))
    throw CannotJudgeAgain(*why);
  return run_scenario({gauge, profile, scenario.noise, scenario.seed, scenario.judge}, rig, scratch, hooks)
      .result;
}

RunResult replay_scenario(const std::filesystem::path& folder, const RunRecord& stored,
                          const Journal& journal, const Gauge& gauge, RunFolder& scratch, RunHooks hooks) {
  const ScenarioFile scenario = loaded([&] { return kept_scenario(folder); });
  if (std::optional<RunResult> result = replay_clip(folder, stored, scenario, gauge, scratch, hooks))
    return *result;
  StoredTimeline timeline = read_timeline(folder / "timeline.csv", gauge.channels(), most_lamp_changes);
  if (timeline.more)
    throw CannotJudgeAgain(fmt::format(
        "timeline.csv has more than {} changes, the most that can be judged again", most_lamp_changes));
  Rig rig;
  StoredPerson person(journal.did);
  hooks.ask_person = [&person](const Ask&, Nanos) { return person.reply(); };
  rig.source = std::make_unique<StoredSource>(stored, person);
  const Channels wired = loaded([&] { return kept_wires(folder, gauge); });
  rig.watcher = std::make_unique<StoredWatcher>(stored, person, wired, std::move(timeline.events));
  if (scenario.dwell)
    return run_dwell({gauge, scenario.noise, scenario.seed, *scenario.dwell, unit_reading(gauge, {}),
                      stored.to_the_end},
                     rig, scratch, hooks)
        .result;
  const Profile profile(scenario.steps);
  return run_scenario({gauge, profile, scenario.noise, scenario.seed, scenario.judge}, rig, scratch, hooks)
      .result;
}

RunResult replay_recording(const std::filesystem::path& folder, const std::filesystem::path& recording,
                           const Gauge& gauge, RunFolder& scratch, const RunHooks& hooks,
                           BenchFacts& states) {
  const Wiring wiring = loaded([&] { return load_wiring(folder / "wiring.yaml"); });
  std::optional<PlayedScenario> played;
  if (is_file_there(folder / "scenario.yaml"))
    played = played_scenario(loaded([&] { return kept_scenario(folder); }));
  const OpenRecording opened =
      loaded([&] { return open_for_judging(recording, wiring, gauge, played ? &*played : nullptr); });
  states = opened.bench();
  return judge_recording(opened, scratch, hooks.stop, hooks.evidence).result;
}

bool same_file(const std::filesystem::path& a, const std::filesystem::path& b) {
  return is_file_there(a) && is_file_there(b) && sha256_of_file(a) == sha256_of_file(b);
}

}  // namespace

JudgedAgain judge_again(const std::filesystem::path& folder, const RunRecord& stored, const Journal& journal,
                        EvidenceLog* evidence) {
  const Gauge gauge = loaded([&] { return load_gauge(folder / "gauge.yaml"); });
  catch_stop_signals();  // so that the scratch folder goes, whoever ends this
  const Scratch scratch("again");
  const Limit limit(folder, scratch.path() / "run");
  RunHooks hooks = limit.hooks();
  hooks.evidence = evidence;
  RunRecord begun;
  begun.gauge = gauge;
  JudgedAgain again;
  again.gauge = gauge;
  {
    RunFolder out = RunFolder::create(scratch.path() / "run", begun);
    if (const std::string recording = kept_recording(stored); !recording.empty()) {
      BenchFacts states;
      again.result = replay_recording(folder, folder / recording, gauge, out, hooks, states);
      again.same_bench = states == stored.bench;
    } else if (is_file_there(folder / "scenario.yaml")) {
      again.result = replay_scenario(folder, stored, journal, gauge, out, hooks);
    } else {
      throw CannotJudgeAgain("the folder has neither a scenario nor a recording to judge by");
    }
  }
  limit.check();
  if (stored.purpose == purpose_found) as_findings(again.result);
  again.same_capture = same_file(folder / "capture.vcd", scratch.path() / "run" / "capture.vcd");
  again.same_timeline = same_file(folder / "timeline.csv", scratch.path() / "run" / "timeline.csv");
  return again;
}

}  // namespace tachproof
