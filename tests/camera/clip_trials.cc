#include "tests/camera/clip_trials.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>
#include <stdexcept>

#include "bench/files/files.h"

namespace tachproof::test {
namespace {

FaultSetting some_fault(Dice& dice) {
  const auto boundary = [&] { return dice.of<std::string>({"stir", "ripple", "wave", "spill"}); };
  switch (dice.whole(0, 14)) {
    case 0: return {"boundary-moved", {{"boundary", boundary()}}, {{"by_rpm", dice.of({-45.0, 45.0, 60.0})}}};
    case 1: return {"wrong-colour", {{"lamp", "moss"}, {"to", "white"}, {"colour", "blue"}}, {}};
    case 2: return {"wrong-colour", {{"lamp", "moss"}, {"to", "blue"}, {"colour", "white"}}, {}};
    case 3: return {"swapped-lamps", {{"lamp", "reed"}, {"with", "moss"}}, {}};
    case 4: return {"stuck-on", {{"lamp", "fern"}, {"colour", "white"}}, {}};
    case 5: return {"stuck-off", {{"lamp", dice.of<std::string>({"reed", "stone", "fern"})}}, {}};
    case 6: return {"blink-absent", {}, {}};
    case 7: return {"blink-rate", {}, {{"hz", dice.of({1.4, 3.0, 4.0})}}};
    case 8: return {"blink-duty", {}, {{"duty", dice.of({0.15, 0.85})}}};
    case 9: return {"slow-response", {}, {{"ms", dice.between(450, 900)}}};
    case 10: return {"over-rev-missing", {}, {}};
    case 11: return {"deadband-width", {}, {{"rpm", dice.between(60, 90)}}};
    case 12: return {"freeze", {}, {{"at_s", dice.between(2.5, 6)}}};
    case 13: return {"reset", {}, {{"at_s", dice.between(7.5, 9)}, {"boot_ms", dice.between(700, 900)}}};
    default: return {"wrong-pulses-per-rev", {}, {{"pulses_per_rev", 2}}};
  }
}

std::string say(const FaultSetting& fault) {
  std::string text = fault.kind;
  for (const auto& [key, word] : fault.words) text += " " + word;
  for (const auto& [key, number] : fault.numbers) text += fmt::format(" {:.1f}", number);
  return text;
}

// As a rig file's `behaviour`.
std::string behaviour_text(const Behaviour& behaviour) {
  std::string text = fmt::format("response_ms: {}", behaviour.response_ms.value());
  if (behaviour.dim) text += fmt::format(", dim: {}", *behaviour.dim);
  if (behaviour.dim_hz) text += fmt::format(", dim_hz: {}", *behaviour.dim_hz);
  if (behaviour.faults.empty()) return text;
  const FaultSetting& fault = behaviour.faults[0];
  text += ", faults: [{kind: " + fault.kind;
  for (const auto& [key, word] : fault.words) text += ", " + key + ": " + word;
  for (const auto& [key, number] : fault.numbers) text += fmt::format(", {}: {}", key, number);
  return text + "}]";
}

nlohmann::json result_of(const std::filesystem::path& run) {
  return nlohmann::json::parse(std::ifstream(run / "result.json"));
}

// What happens to a clip now and then.
void befall(Plan& plan, Dice& dice, const TaughtCamera& taught) {
  Camera& camera = plan.camera;
  const int frames = static_cast<int>(camera.lasts_s * camera.fps);
  const auto at_random = [&] { return dice.between(2, camera.lasts_s - 1); };
  if (dice.one_in(5)) {
    camera.shifts.push_back({at_random(), dice.between(-7, 7), dice.between(-7, 7)});
    plan.befell += ", nudged";
  } else if (dice.one_in(15)) {
    camera.shifts.push_back({at_random(), dice.between(18, 60), dice.between(-10, 10)});
    plan.befell += ", knocked";
  } else if (dice.one_in(8)) {
    camera.shake = dice.between(0.2, 0.8);
    plan.befell += ", shaking";
  }
  const auto a_few = [&](std::vector<int>& which, int most) {
    const int first = dice.whole(30, frames - 30), n = dice.whole(3, most);
    for (int i = 0; i < n; ++i) which.push_back(first + i);
  };
  if (dice.one_in(8)) {
    camera.dropped.push_back(dice.whole(30, frames - 10));
    plan.befell += ", a frame dropped";
  } else if (dice.one_in(15)) {
    a_few(camera.dropped, 8);
    plan.befell += ", several frames dropped";
  }
  if (dice.one_in(8)) {
    camera.repeated.push_back(dice.whole(30, frames - 10));
    plan.befell += ", a frame repeated";
  } else if (dice.one_in(15)) {
    a_few(camera.repeated, 8);
    plan.befell += ", a frame repeated several times";
  }
  if (dice.one_in(8)) {
    camera.glare_from_s = at_random();
    camera.glare_to_s = camera.glare_from_s + dice.between(0.2, 3);
    camera.glare_lamp =
        static_cast<std::size_t>(dice.whole(0, static_cast<int>(taught.gauge().lamps.size())));
    camera.glare = dice.between(0.2, 2);
    plan.befell += camera.glare_lamp == taught.gauge().lamps.size() ? ", glare on the sync lamp" : ", glare";
  }
  if (dice.one_in(10)) {
    camera.mains_hz = dice.of({100.0, 120.0});
    camera.mains_depth = dice.between(0.1, 0.6);
    plan.befell += ", flickering room light";
  }
  if (dice.one_in(10)) {
    camera.room_light_at_s = at_random();
    camera.room_light = dice.of({0.5, 0.7, 1.4, 2.0});
    plan.befell += ", room light switched";
  }
  if (dice.one_in(10)) {
    plan.behaviour.dim = dice.between(0.2, 0.6);
    plan.behaviour.dim_hz = dice.between(82, 130);
    plan.befell += ", dimming that beats";
  }
}

// What differs between the run's result and that of `judge`; empty: nothing.
std::string judge_beside(const TaughtCamera& taught, const Plan& plan, const std::string& clip,
                         const nlohmann::json& result) {
  const Finished judged =
      run_process(command_line(fmt::format(
                      "judge {} --gauge gauge.yaml --scenario scenario.yaml --regions regions.yaml{} "
                      "--out judged --no-history --json",
                      clip,
                      plan.shutter_known ? fmt::format(" --exposure-ms {:.2f} --readout-ms {:.2f}",
                                                       plan.camera.exposure_ms, plan.camera.readout_ms)
                                         : "")),
                  taught.folder());
  if (judged.status == 2) return judged.err;
  auto again = nlohmann::json::parse(judged.out);
  for (const char* key : {"id", "issued"}) again["report"][key] = result.at("report").at(key);
  std::filesystem::remove_all(taught.folder() / "judged");
  std::string apart;
  for (const auto& [key, value] : result.items()) {
    if (key == "started" || key == "inputs") continue;
    if (!again.contains(key))
      apart += key + " is missing; ";
    else if (again.at(key) != value)
      apart += key + ": " + nlohmann::json::diff(value, again.at(key)).dump().substr(0, 300) + "; ";
  }
  return apart;
}

double stated_ms(const nlohmann::json& result) {
  if (!result.contains("stamps")) return 0;
  const double width = result.at("stamps").at("width_ns"), other = result.at("stamps").at("uncertainty_ns");
  return 2 * std::hypot(width / std::sqrt(12.0), other) * 1e-6;
}

std::string first_finding(const nlohmann::json& result) {
  std::string first;
  for (const auto& finding : result.at("findings")) {
    const bool bench = finding.at("kind") == "lost-evidence" || finding.at("kind") == "bench-fault";
    if (first.empty() || bench) first = finding.at("message");
    if (bench) break;
  }
  return first;
}

void write_rig(const TaughtCamera& taught, const Plan& plan, const std::string& clip, const std::string& file,
               const std::string& regions) {
  write_text(
      taught.folder() / file,
      fmt::format(
          "format: 1\nkind: rig\nsource: {{kind: simulated}}\nwatch: {{kind: camera, clip: {}, regions: "
          "{}{}}}\n",
          clip, regions,
          plan.shutter_known ? fmt::format(", exposure_ms: {:.2f}, readout_ms: {:.2f}",
                                           plan.camera.exposure_ms, plan.camera.readout_ms)
                             : ""));
}

Finished run_with(const TaughtCamera& taught, const std::string& rig) {
  return run_process(command_line("run scenario.yaml --gauge gauge.yaml --rig " + rig + ".yaml --out run-" +
                                  rig + " --no-history"),
                     taught.folder());
}

Trial::Bare without_sync_lamp(const TaughtCamera& taught, const Plan& plan, const std::string& clip,
                              const Scene& scene) {
  Regions regions = load_regions(taught.folder() / "regions.yaml");
  regions.sync.reset();
  write_text(taught.folder() / "bare-regions.yaml", regions_text(regions));
  write_rig(taught, plan, clip, "bare.yaml", "bare-regions.yaml");
  const Finished run = run_with(taught, "bare");
  Trial::Bare bare;
  if (run.status != 0 && run.status != 1 && run.status != 3) {
    bare.finding = run.out + run.err;
    return bare;
  }
  const nlohmann::json result = result_of(taught.folder() / "run-bare");
  bare.verdict = result.at("verdict");
  bare.finding = first_finding(result);
  bare.time_by = result.at("rig").at("time_by");
  bare.stated_ms = stated_ms(result);
  if (result.at("complete") && result.at("evidence").at("lost") == 0)
    bare.stamp_errors_ms = compare_stamps(taught.folder() / "run-bare", scene);
  return bare;
}

}  // namespace

Plan plain_plan(const TaughtCamera& taught) {
  Plan plan;
  plan.camera = taught.camera();
  plan.behaviour.response_ms = 100;
  plan.behaviour.dim = taught.dim();
  const Profile profile(load_scenario(taught.folder() / "scenario.yaml").steps);
  plan.camera.lasts_s = plan.camera.run_starts_s + to_seconds(profile.duration()) + 0.4;
  return plan;
}

Plan random_plan(const TaughtCamera& taught, std::uint64_t seed) {
  Dice dice(seed);
  Plan plan = plain_plan(taught);
  Camera& camera = plan.camera;
  const double starts_s = dice.between(0.3, 1.5);
  camera.seed = seed;
  camera.brightness *= dice.between(0.85, 1.2);
  camera.ambient = dice.between(0.6, 1.6);
  camera.noise *= dice.between(0.7, 1.4);
  camera.blur *= dice.between(0.8, 1.3);
  camera.drift_ppm = dice.between(-120, 120);
  camera.lasts_s += starts_s - camera.run_starts_s;
  camera.run_starts_s = starts_s;
  plan.behaviour.response_ms = dice.between(70, 150);
  if (dice.one_in(2)) plan.behaviour.faults.push_back(some_fault(dice));
  if (taught.dim() < 1) plan.behaviour.dim_hz = dice.of({170.0, 240.0, 333.0, 490.0, 1000.0});
  plan.kind = dice.of({Clip::mjpg, Clip::mjpg, Clip::mjpg, Clip::h264, Clip::h264, Clip::folder, Clip::folder,
                       Clip::png_folder});
  // The codec used leaves noise only where there is much of it.
  if (plan.kind == Clip::h264 && dice.one_in(2)) camera.noise = dice.between(7, 9);
  plan.shutter_known = !dice.one_in(3);
  plan.bare_too = true;
  befall(plan, dice, taught);
  return plan;
}

Finished judge_plain_clip(const TaughtCamera& taught, const std::string& name) {
  const Plan plan = plain_plan(taught);
  const Profile profile(load_scenario(taught.folder() / "scenario.yaml").steps);
  film(scene_of(taught.gauge(), plan.behaviour, profile, 1), plan.camera, Clip::mjpg,
       (taught.folder() / (name + ".avi")).string());
  return run_process(command_line(fmt::format(
                         "judge {0}.avi --gauge gauge.yaml --scenario scenario.yaml --regions "
                         "regions.yaml --exposure-ms {1:.2f} --readout-ms {2:.2f} --out {0} --no-history",
                         name, plan.camera.exposure_ms, plan.camera.readout_ms)),
                     taught.folder());
}

Trial run_trial(const TaughtCamera& taught, const Plan& plan) {
  Trial trial;
  const Camera& camera = plan.camera;
  const Behaviour& behaviour = plan.behaviour;
  const std::string clip = plan.kind == Clip::mjpg     ? "run.avi"
                           : plan.kind == Clip::h264   ? "run.mp4"
                           : plan.kind == Clip::folder ? "run-jpg"
                                                       : "run-png";
  const std::filesystem::path &folder = taught.folder(), path = folder / clip;
  const Profile profile(load_scenario(folder / "scenario.yaml").steps);
  Scene scene = scene_of(taught.gauge(), behaviour, profile, camera.seed);
  for (std::size_t c = 0; c < taught.gauge().channels(); ++c)
    if (const auto fade = plan.by_degrees.find(taught.gauge().channel_name(c)); fade != plan.by_degrees.end())
      scene.lamps = by_degrees(scene.lamps, Channels{1} << c, fade->second);
  film(scene, camera, plan.kind, path.string());
  write_rig(taught, plan, clip, "rig.yaml", "regions.yaml");
  write_text(folder / "wires.yaml",
             fmt::format("format: 1\nkind: rig\nsource: {{kind: simulated}}\nwatch: {{kind: simulated, unit: "
                         "gauge.yaml, behaviour: {{{}}}}}\n",
                         behaviour_text(behaviour)));
  trial.what = fmt::format("{} at {:.0f}/s{}{}{}; {}", clip, camera.fps, taught.dim() < 1 ? ", dimmed" : "",
                           plan.shutter_known ? "" : ", shutter unknown", plan.befell,
                           behaviour.faults.empty() ? "healthy" : say(behaviour.faults[0]));
  const Finished run = run_with(taught, "rig");
  trial.status = run.status;
  if (run.status == 0 || run.status == 1 || run.status == 3) {
    const nlohmann::json result = result_of(folder / "run-rig");
    trial.verdict = result.at("verdict");
    if (plan.judge_too) trial.judged_otherwise = judge_beside(taught, plan, clip, result);
    trial.first_finding = first_finding(result);
    trial.stated_ms = stated_ms(result);
    trial.all_seen = result.at("complete") && result.at("evidence").at("lost") == 0;
    if (trial.all_seen) {
      trial.stamp_errors_ms = compare_stamps(folder / "run-rig", scene);
      trial.beside_truth = beside_settings(result, taught.gauge(), behaviour);
      const bool crosses = behaviour.faults.empty() || behaviour.faults[0].kind != "wrong-pulses-per-rev";
      if (const Finished wires = run_with(taught, "wires");
          wires.status != 0 && wires.status != 1 && wires.status != 3)
        throw std::runtime_error("wires: " + wires.err);
      if (crosses) trial.beside_wires = beside_result(result, result_of(folder / "run-wires"));
    }
  } else {
    trial.said = run.out + run.err;
  }
  if (plan.bare_too) trial.bare = without_sync_lamp(taught, plan, clip, scene);
  const std::vector<ToldFrame> frames = frames_told(path, folder / "regions.yaml", camera);
  trial.looks = compare_looks(frames, scene, camera);
  trial.sync = compare_sync(frames, scene, camera, load_regions(folder / "regions.yaml"), plan.shutter_known);
  for (const char* made : {"run-rig", "run-wires", "run-bare"}) std::filesystem::remove_all(folder / made);
  std::filesystem::remove_all(path);
  return trial;
}

}  // namespace tachproof::test
