#include "bench/run/judge_again.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <system_error>

#include "bench/files/files.h"
#include "bench/record/checksums.h"
#include "bench/record/disk.h"
#include "bench/record/folder_format.h"
#include "bench/rigs/simulated/unit_settings.h"
#include "bench/run/clip_evidence.h"
#include "bench/run/dwell_run.h"
#include "bench/run/recording_run.h"
#include "bench/run/runner.h"
#include "core/plan/survey_scout.h"

namespace tachproof {
namespace {

constexpr std::size_t most_lamp_changes = 20'000'000;  // bounds the memory

bool is_there(const std::filesystem::path& file) {
  std::error_code error;
  return std::filesystem::is_regular_file(file, error);
}

// A folder that is gone afterwards.
class Scratch {
 public:
  Scratch() {
    std::string name = (std::filesystem::temp_directory_path() / "tachproof-again-XXXXXX").string();
    if (::mkdtemp(name.data()) == nullptr) throw std::runtime_error("cannot make the scratch folder " + name);
    path_ = name;
  }
  ~Scratch() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  Scratch(const Scratch&) = delete;
  Scratch& operator=(const Scratch&) = delete;
  const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
};

// Plays to nobody, with the facts of the source that the run had.
class StoredSource : public Source {
 public:
  explicit StoredSource(const RunRecord& record) {
    facts_.kind = record.source;
    static_cast<SourceTiming&>(facts_) = record.bench.source;
    // A dwell decides as it goes, so it must be handed the same stretches.
    facts_.virtual_time = record.source == "simulated";
  }
  SourceFacts facts() const override { return facts_; }
  void begin() override {}
  void play(const PulseBlock&) override {}
  bool can_press(const std::string&) const override { return true; }
  void press(const Press&, Nanos) override {}
  void end() noexcept override {}

 private:
  SourceFacts facts_;
};

// Reports the lamp changes that were stored, and the answers.
class StoredWatcher : public Watcher {
 public:
  StoredWatcher(const RunRecord& record, const Gauge& gauge, std::vector<LampEvent> events)
      : record_(record), events_(std::move(events)) {
    facts_.kind = record.watch;
    static_cast<WatcherTiming&>(facts_) = record.bench.watcher;
    const std::vector<std::string>& unwired = record.result.not_judged;
    for (std::size_t c = 0; c < gauge.channels(); ++c)
      if (std::find(unwired.begin(), unwired.end(), gauge.channel_name(c)) == unwired.end())
        facts_.wired |= Channels{1} << c;
  }
  WatcherFacts facts() const override { return facts_; }
  void begin() override {}
  Seen collect(Nanos until, std::vector<LampEvent>& out) override {
    for (; next_event_ < events_.size() && events_[next_event_].at <= until; ++next_event_)
      out.push_back(events_[next_event_]);
    Seen seen{until, 0, ""};
    seen.stamps = record_.result.stamps;
    return seen;
  }
  std::optional<std::string> answer(const Ask&) override {
    const std::vector<AnswerResult>& answers = record_.result.answers;
    if (next_answer_ == answers.size()) return std::nullopt;
    return answers[next_answer_++].answer;
  }
  void end() noexcept override {}

 private:
  const RunRecord& record_;
  std::vector<LampEvent> events_;
  WatcherFacts facts_;
  std::size_t next_event_ = 0;
  std::size_t next_answer_ = 0;
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
  if (stored.watch != "camera" || scenario.dwell || !is_there(folder / readings_name)) return std::nullopt;
  CameraSettings camera = loaded([&] { return load_rig(folder / "rig.yaml"); }).watch.camera;
  if (camera.live) return std::nullopt;
  camera.regions = (folder / "regions.yaml").string();
  Rig rig = loaded([&] { return camera_rig(camera, gauge, nullptr, stored_readings(folder)); });
  const Profile profile(scenario.steps);
  if (const auto why = rig.source->cannot_play({profile, gauge.pulses_per_rev, scenario.noise, false}))
    throw CannotJudgeAgain(*why);
  return run_scenario({gauge, profile, scenario.noise, scenario.seed, scenario.judge}, rig, scratch, hooks)
      .result;
}

RunResult replay_scenario(const std::filesystem::path& folder, const RunRecord& stored, const Gauge& gauge,
                          RunFolder& scratch, const RunHooks& hooks) {
  const ScenarioFile scenario = loaded([&] { return load_scenario(folder / "scenario.yaml"); });
  if (std::optional<RunResult> result = replay_clip(folder, stored, scenario, gauge, scratch, hooks))
    return *result;
  StoredTimeline timeline = read_timeline(folder / "timeline.csv", gauge.channels(), most_lamp_changes);
  if (timeline.more)
    throw CannotJudgeAgain(fmt::format(
        "timeline.csv has more than {} changes, the most that can be judged again", most_lamp_changes));
  Rig rig;
  rig.source = std::make_unique<StoredSource>(stored);
  rig.watcher = std::make_unique<StoredWatcher>(stored, gauge, std::move(timeline.events));
  if (scenario.dwell)
    return run_dwell({gauge, scenario.noise, scenario.seed, *scenario.dwell, unit_reading(gauge, {})}, rig,
                     scratch)
        .result;
  const Profile profile(scenario.steps);
  return run_scenario({gauge, profile, scenario.noise, scenario.seed, scenario.judge}, rig, scratch, hooks)
      .result;
}

RunResult replay_recording(const std::filesystem::path& folder, const std::filesystem::path& recording,
                           const Gauge& gauge, RunFolder& scratch, EvidenceLog* evidence) {
  const Wiring wiring = loaded([&] { return load_wiring(folder / "wiring.yaml"); });
  std::optional<PlayedScenario> played;
  if (is_there(folder / "scenario.yaml"))
    played = played_scenario(loaded([&] { return load_scenario(folder / "scenario.yaml"); }));
  const OpenRecording opened =
      loaded([&] { return open_for_judging(recording, wiring, gauge, played ? &*played : nullptr); });
  return judge_recording(opened, scratch, {}, evidence).result;
}

bool same_file(const std::filesystem::path& a, const std::filesystem::path& b) {
  return is_there(a) && is_there(b) && sha256_of_file(a) == sha256_of_file(b);
}

}  // namespace

JudgedAgain judge_again(const std::filesystem::path& folder, const RunRecord& stored, EvidenceLog* evidence) {
  RunHooks hooks;
  hooks.evidence = evidence;
  const Gauge gauge = loaded([&] { return load_gauge(folder / "gauge.yaml"); });
  const Scratch scratch;
  RunRecord begun;
  begun.gauge = gauge;
  JudgedAgain again;
  again.gauge = gauge;
  {
    RunFolder out = RunFolder::create(scratch.path() / "run", begun);
    std::filesystem::path recording;
    for (const auto& [name, sha256] : stored.inputs)
      if (name.starts_with("recording")) recording = folder / name;
    if (!recording.empty())
      again.result = replay_recording(folder, recording, gauge, out, evidence);
    else if (is_there(folder / "scenario.yaml"))
      again.result = replay_scenario(folder, stored, gauge, out, hooks);
    else
      throw CannotJudgeAgain("the folder has neither a scenario nor a recording to judge by");
  }
  if (stored.purpose == purpose_found) as_findings(again.result);
  again.same_capture = same_file(folder / "capture.vcd", scratch.path() / "run" / "capture.vcd");
  again.same_timeline = same_file(folder / "timeline.csv", scratch.path() / "run" / "timeline.csv");
  return again;
}

}  // namespace tachproof
