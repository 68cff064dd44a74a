#include "bench/run/stated_facts.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>
#include <tuple>

#include "bench/files/files.h"
#include "bench/files/regular_file.h"
#include "bench/files/rig_alone.h"
#include "bench/record/json_values.h"
#include "bench/rigs/factory.h"
#include "bench/run/judge_again.h"
#include "core/judge/allowance.h"

namespace tachproof {
namespace {

namespace fs = std::filesystem;

constexpr const char* regions_copy = "regions.yaml";

class Facts {
 public:
  Facts(const fs::path& folder, const RunRecord& stored, const Journal& journal)
      : folder_(folder), stored_(stored), journal_(journal) {}

  std::vector<std::string> check() {
    by_the_journal();
    by_the_inputs();
    try {
      by_the_scenario();
      if (kept_recording(stored_).empty()) by_the_rig();
    } catch (const FileErrors& e) {
      say("an input of the run cannot be read: {}.", to_line(e.errors.front()));
    }
    return std::move(found_);
  }

 private:
  template <class... Values>
  void say(fmt::format_string<Values...> text, Values&&... values) {
    found_.push_back(fmt::format(text, std::forward<Values>(values)...));
  }

  void by_the_journal() {
    if (!journal_.begun) {
      say("the first line of journal.jsonl, which says what was begun, cannot be read.");
      return;
    }
    for (std::string& difference : differences_from_begun(stored_, *journal_.begun))
      found_.push_back(std::move(difference));
    const std::optional<StampTimes>& told = journal_.stamps;
    const std::optional<StampTimes>& stamps = stored_.result.stamps;
    if (stamps.has_value() != told.has_value() ||
        (stamps && (stamps->width != told->width || stamps->uncertainty != told->uncertainty ||
                    stamps->offset != told->offset)))
      say("stamps in result.json are not those that journal.jsonl tells.");
  }

  void by_the_inputs() {
    std::vector<FileSum> kept = journal_.inputs;
    std::vector<FileSum> listed;
    for (const auto& [name, sha256] : stored_.inputs) listed.push_back({name, sha256});
    const auto by_name = [](const FileSum& a, const FileSum& b) {
      return std::tie(a.file, a.sha256) < std::tie(b.file, b.sha256);
    };
    std::sort(kept.begin(), kept.end(), by_name);
    std::sort(listed.begin(), listed.end(), by_name);
    for (const FileSum& file : kept)
      if (!std::binary_search(listed.begin(), listed.end(), file, by_name))
        say("{} is not in result.json as journal.jsonl says that it was kept.", file.file);
    for (const FileSum& file : listed)
      if (!std::binary_search(kept.begin(), kept.end(), file, by_name))
        say("{} is in result.json otherwise than journal.jsonl says that it was kept, or was not kept at "
            "all.",
            file.file);
    of_the_file("gauge.sha256", stored_.gauge_sha256, "gauge.yaml");
    if (stored_.purpose != purpose_found && stored_.gauge_name != stored_.gauge.name)
      say("gauge.name is \"{}\" in result.json, and its settings are of \"{}\".", stored_.gauge_name,
          stored_.gauge.name);
  }

  void of_the_file(const char* what, const std::string& sha256, const char* name) {
    const auto input = std::find_if(stored_.inputs.begin(), stored_.inputs.end(),
                                    [&](const auto& i) { return i.first == name; });
    if (input == stored_.inputs.end())
      say("the inputs in result.json lack {}.", name);
    else if (input->second != sha256)
      say("{} in result.json is not the SHA-256 of {}.", what, name);
  }

  void by_the_scenario() {
    if (!is_file_there(folder_ / "scenario.yaml")) return;
    of_the_file("scenario.sha256", stored_.scenario_sha256, "scenario.yaml");
    const ScenarioFile scenario = kept_scenario(folder_);
    if (scenario.name != stored_.scenario_name && stored_.scenario_name != "survey")
      say("scenario.name is \"{}\" in result.json and \"{}\" in scenario.yaml.", stored_.scenario_name,
          scenario.name);
    if (scenario.seed != stored_.seed)
      say("scenario.seed is {} in result.json and {} in scenario.yaml.", stored_.seed, scenario.seed);
    const double granted = noise_allowance_rpm(scenario.noise, stored_.gauge);
    if (!(std::fabs(granted - stored_.extra_tolerance_rpm) <= 1e-9 * std::fmax(1, granted)))
      say("extra_tolerance_rpm is {} in result.json; the noise of scenario.yaml grants {}.",
          stored_.extra_tolerance_rpm, granted);
  }

  void by_the_rig() {
    if (!is_file_there(folder_ / "rig.yaml")) {
      say("there is no rig.yaml: what played and watched is not known.");
      return;
    }
    const auto rig_copy = std::find_if(stored_.inputs.begin(), stored_.inputs.end(),
                                       [](const auto& i) { return i.first == "rig.yaml"; });
    if (rig_copy == stored_.inputs.end()) say("the inputs in result.json lack rig.yaml.");
    const RigFile rig = kept_rig(folder_);
    if (rig.source.kind != stored_.source)
      say("rig.source is \"{}\" in result.json and \"{}\" in rig.yaml.", stored_.source, rig.source.kind);
    if (rig.watch.kind != stored_.watch)
      say("rig.watch is \"{}\" in result.json and \"{}\" in rig.yaml.", stored_.watch, rig.watch.kind);
    source_of(rig);
    watcher_of(rig);
  }

  template <class Value>
  void compare(const char* what, const Value& stated, const Value& due) {
    if (stated != due) say("rig.{} is {} in result.json; the rig of rig.yaml has {}.", what, stated, due);
  }

  // The gauge that the run was begun with: of an unknown unit the one that was found is another.
  const Gauge& played_by() const { return journal_.begun ? journal_.begun->gauge : stored_.gauge; }

  void source_of(const RigFile& rig) {
    const SourceTiming due = source_states(rig, played_by().pulses_per_rev);
    const SourceTiming& stated = stored_.bench.source;
    compare("source_tick_ns", stated.tick, due.tick);
    compare("clock_ppm", stated.clock_ppm, due.clock_ppm);
    compare("source_lag_ns", stated.lag, due.lag);
    compare("source_rpm", stated.rpm, due.rpm);
    compare("switch_from_ns", stated.switch_from, due.switch_from);
    compare("switch_to_ns", stated.switch_to, due.switch_to);
  }

  // What a board or camera says of itself before a run, no file tells: the journal's first line has it.
  void watcher_of(const RigFile& rig) {
    const WatcherTiming& stated = stored_.bench.watcher;
    const WatcherTiming due = kind_of(rig.watch).states(rig, kind_of(rig.source).clock(), stated);
    compare("watcher_resolution_ns", stated.resolution, due.resolution);
    compare("stamp_uncertainty_ns", stated.stamp_uncertainty, due.stamp_uncertainty);
    compare("stamp_offset_ns", stated.stamp_offset, due.stamp_offset);
    compare("time_by", word(stated.time_by), word(due.time_by));
  }

  const fs::path& folder_;
  const RunRecord& stored_;
  const Journal& journal_;
  std::vector<std::string> found_;
};

}  // namespace

std::string kept_recording(const RunRecord& stored) {
  for (const auto& [name, sha256] : stored.inputs)
    if (name.starts_with("recording")) return name;
  return "";
}

ScenarioFile kept_scenario(const fs::path& folder) { return load_kept_scenario(folder / "scenario.yaml"); }

RigFile kept_rig(const fs::path& folder) {
  RigFile rig = load_rig_alone(folder / "rig.yaml");
  if (kind_of(rig.watch).films()) rig.watch.camera.regions = (folder / regions_copy).string();
  return rig;
}

Channels kept_wires(const fs::path& folder, const Gauge& gauge) {
  const RigFile rig = kept_rig(folder);
  if (kind_of(rig.watch).watches_software()) return gauge.all_channels();
  return watched_by(rig, (folder / "rig.yaml").string(), gauge);
}

std::vector<std::string> contradictions(const fs::path& folder, const RunRecord& stored,
                                        const Journal& journal) {
  return Facts(folder, stored, journal).check();
}

}  // namespace tachproof
