// Units as the second drawer photographs them, judged by the camera's watcher and the judge, beside
// what is true: blinks that frames cannot follow and colours that were not taught are among the faults.
//
//     camera_photos TRIALS SEED [KIND]     KIND: sound, alias, colour, fault, dimmed; else all in turn
#include <fmt/format.h>

#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <random>

#include "bench/camera/camera.h"
#include "bench/files/files.h"
#include "bench/rigs/camera/camera.h"
#include "bench/rigs/simulated/simulated_unit.h"
#include "core/camera/teaching.h"
#include "core/judge/judge.h"
#include "core/signal/pulse_train.h"
#include "tests/bench/scratch_folder.h"
#include "tests/camera/photographed_gauge.h"

namespace tachproof::test {
namespace {

constexpr const char* gauge_text = R"(format: 1
kind: gauge
name: Larch row gauge
pulses_per_rev: 2
lamps:
  - {id: rowan, colours: [yellow, white]}
  - {id: birch, colours: [white]}
  - {id: alder, colours: [cyan, violet]}
  - {id: hazel, colours: [violet]}
  - {id: thorn, colours: [rose]}
windows:
  - {name: low, from: 0, show: {}}
  - {name: near, from: 4100, show: {rowan: yellow}}
  - {name: close, from: 4300, show: {rowan: yellow, birch: white, alder: cyan}}
  - {name: there, from: 4500, show: {hazel: violet, alder: cyan}}
  - {name: past, from: 4700, show: {thorn: rose blinking}}
deadband: {rpm: 20, sits: below}
blink: {hz: 2.5, duty: 0.5}
tolerance: {rpm: 20, response_ms: {from: 0, to: 300}, settle_ms: 10, blink_hz: 0.3, blink_duty: 0.2}
)";

std::vector<Step> played() {
  const Press flash{"sync", 300 * ns_per_ms}, last{"sync", 500 * ns_per_ms};
  return {Hold{3900, ns_per_s},
          flash,
          Hold{3900, 700 * ns_per_ms},
          RampByRate{4850, 200},
          Hold{4850, 3 * ns_per_s},
          flash,
          RampByRate{3900, 200},
          Hold{3900, ns_per_s},
          StepTo{4850},
          Hold{4850, 2 * ns_per_s},
          StepTo{3900},
          Hold{3900, ns_per_s},
          last,
          Hold{3900, 800 * ns_per_ms}};
}

Photographed seen_of(const Gauge& gauge, const Behaviour& behaviour, const Profile& profile,
                     std::uint64_t seed) {
  Photographed run{gauge, {}, {}, [&profile](Nanos t) {
                     return profile.rpm_at(std::clamp<Nanos>(t, 0, profile.duration() - 1));
                   }};
  SimulatedUnit unit(gauge, behaviour, gauge, seed);
  PulseTrain train(profile, gauge.pulses_per_rev);
  std::array<Nanos, 4096> block;
  for (std::size_t n; (n = train.next(block)) > 0;) unit.run({block.data(), n}, block[n - 1], run.lamps);
  unit.run({}, profile.duration(), run.lamps);
  for (const Action& action : profile.actions())
    if (const Press* press = std::get_if<Press>(&action.what))
      run.flashes.emplace_back(action.at, action.at + press->lasts);
  return run;
}

RunResult judged(const Gauge& gauge, const Profile& profile, const CameraSettings& settings) {
  Rig rig = camera_rig(settings, gauge, nullptr);
  const Noise quiet;
  if (const auto why = rig.source->cannot_play({profile, gauge.pulses_per_rev, quiet, false}))
    throw std::runtime_error(*why);
  const WatcherFacts facts = rig.watcher->facts();
  JudgeSetup setup;
  setup.wired = facts.wired;
  setup.bench.watcher.resolution = facts.resolution;
  setup.bench.watcher.stamp_uncertainty = facts.stamp_uncertainty;
  setup.bench.watcher.stamp_offset = facts.stamp_offset;
  setup.bench.watcher.time_by = facts.time_by;
  Judge judge(gauge, setup);
  for (const Segment& segment : profile.segments()) judge.rpm(segment);
  for (const Action& action : profile.actions())
    if (const Press* press = std::get_if<Press>(&action.what)) rig.source->press(*press, action.at);
  Seen seen;
  std::uint64_t lost = 0;
  for (Nanos until = 0; until < profile.duration();) {
    until = std::min(until + ns_per_s / 2, profile.duration());
    std::vector<LampEvent> events;
    seen = rig.watcher->collect(until, events);
    for (const Finding& finding : seen.found) judge.found(finding);
    judge.unsure_blinks(seen.unsure_blinks);
    if (!seen.untimed.empty()) judge.untimed(seen.untimed);
    if (seen.lost > 0) judge.found({FindingKind::lost_evidence, seen.until, "", "", seen.lost_why});
    lost += seen.lost;
    judge.lamps(events);
    judge.seen_until(std::min(until, seen.until));
  }
  return judge.finish(std::min(seen.until, profile.duration()),
                      lost == 0 && seen.until >= profile.duration());
}

class Dice {
 public:
  explicit Dice(std::uint64_t seed) : random_(seed) {}
  double between(double a, double b) { return a + (b - a) * static_cast<double>(random_() >> 11) * 0x1p-53; }
  bool one_in(int n) { return random_() % static_cast<unsigned>(n) == 0; }
  template <class T>
  T of(std::initializer_list<T> all) {
    return *(all.begin() + random_() % all.size());
  }

 private:
  std::mt19937_64 random_;
};

struct Trial {
  Phone phone;
  Behaviour behaviour;
  std::string kind, what;
  bool exposure_stated = true, is_sound = true;
};

Trial drawn(const Phone& usual, const std::string& kind, Dice& dice) {
  Trial trial{usual, {}, kind, kind, true, kind == "sound" || kind == "dimmed"};
  Phone& phone = trial.phone;
  phone.seed = static_cast<std::uint64_t>(dice.between(1, 1e9));
  phone.into = dice.of({Phone::Into::mjpg, Phone::Into::h264, Phone::Into::folder});
  if (phone.into == Phone::Into::folder) phone.uneven_ms = dice.of({0.0, 2.0, 5.0});
  phone.haze = dice.of({0.0, 0.0, 0.1, 0.2});
  phone.reflection = dice.of({0.0, 0.0, 0.2});
  phone.over_lamp = phone.reflection > 0 && dice.one_in(3);
  phone.balance = dice.of({0.0, 0.02, 0.05});
  phone.exposure_drift = dice.of({0.0, 0.05, 0.1});
  phone.starts_s = dice.between(0.4, 1.2);
  trial.exposure_stated = !dice.one_in(6);
  trial.behaviour.response_ms = dice.between(40, 140);
  const auto fault = [&](FaultSetting one) {
    trial.what = one.kind;
    for (const auto& [key, number] : one.numbers) trial.what += fmt::format(" {:.1f}", number);
    trial.behaviour.faults.push_back(std::move(one));
  };
  if (kind == "alias") {
    const double f = dice.of({2.5, 2.5, 2.43, 2.6});
    fault({"blink-rate", {}, {{"hz", phone.fps * dice.of({1.0, 2.0}) + dice.of({-1.0, 1.0}) * f}}});
  } else if (kind == "colour") {
    const auto [channel, colour] =
        dice.of<std::pair<std::string, Rgb>>({{"rowan yellow", {1.0F, 0.42F, 0.01F}},
                                              {"birch white", {0.1F, 1.0F, 0.2F}},
                                              {"hazel violet", {1.0F, 0.05F, 0.02F}},
                                              {"alder cyan", {0.05F, 0.2F, 1.0F}},
                                              {"thorn rose", {0.1F, 0.9F, 0.1F}}});
    phone.colours[channel] = colour;
    trial.what = "other colour of " + channel;
  } else if (kind == "fault") {
    switch (static_cast<int>(dice.between(0, 6))) {
      case 0: fault({"boundary-moved", {{"boundary", "close"}}, {{"by_rpm", dice.of({-70.0, 70.0})}}}); break;
      case 1: fault({"stuck-off", {{"lamp", "hazel"}}, {}}); break;
      case 2: fault({"stuck-on", {{"lamp", "thorn"}, {"colour", "rose"}}, {}}); break;
      case 3: fault({"slow-response", {}, {{"ms", 700}}}); break;
      case 4: fault({"blink-absent", {}, {}}); break;
      default: fault({"blink-rate", {}, {{"hz", 4.0}}}); break;
    }
  } else if (kind == "dimmed") {
    trial.behaviour.dim = dice.of({0.4, 0.6});
    trial.behaviour.dim_hz = dice.of({61.0, 91.5, 240.0, 480.0});
    phone.exposure_ms = dice.of({1.0, 2.0, phone.exposure_ms});
    trial.what = fmt::format("dimmed at {:.0f} Hz, {:.1f} ms", *trial.behaviour.dim_hz, phone.exposure_ms);
  }
  return trial;
}

Phone phone_of(Dice& dice) {
  Phone phone;
  phone.fps = dice.of({30.0, 30.0, 60.0});
  phone.exposure_ms = dice.of({1.0, 4.0, 9.0, 12.0});
  phone.readout_ms = dice.between(5, 900 / phone.fps);
  phone.light = dice.between(0.6, 1.6);
  phone.bloom = dice.between(0.02, 0.2);
  return phone;
}

int study(int trials, std::uint64_t seed, const std::string& only) {
  const std::vector<std::string> kinds{"sound", "alias", "sound", "colour", "sound", "fault", "dimmed"};
  std::map<std::string, std::map<Verdict, int>> counts;
  int wrong = 0;
  std::unique_ptr<ScratchFolder> folder;
  Phone phone;
  for (int i = 0; i < trials; ++i) {
    Dice dice(seed * 1000 + static_cast<std::uint64_t>(i));
    if (i % 7 == 0) {
      folder = std::make_unique<ScratchFolder>();
      std::ofstream(*folder / "gauge.yaml") << gauge_text;
      phone = phone_of(dice);
    }
    const Gauge gauge = load_gauge(*folder / "gauge.yaml");
    const std::string clip = (*folder / ("clip" + std::to_string(i))).string();
    if (i % 7 == 0) {
      const Profile teaching(teaching_steps(gauge, "sync"));
      Phone taught = phone;
      // Teaching is filmed in peace, and long enough exposed.
      taught.lasts_s = taught.starts_s + to_seconds(teaching.duration()) + 0.5;
      Behaviour calm;
      calm.response_ms = 60;
      const std::string file = (*folder / "teaching.avi").string();
      photograph(seen_of(gauge, calm, teaching, 1), taught, file);
      TeachSettings settings;
      settings.from.from = file;
      settings.gauge_file = (*folder / "gauge.yaml").string();
      settings.out = (*folder / "regions.yaml").string();
      settings.sync = "sync";
      teach(settings);
    }
    Trial trial = drawn(phone, only.empty() ? kinds[static_cast<std::size_t>(i) % kinds.size()] : only, dice);
    const Profile profile(played());
    trial.phone.lasts_s = trial.phone.starts_s + to_seconds(profile.duration()) + 0.4;
    const std::string file = clip + (trial.phone.into == Phone::Into::mjpg   ? ".avi"
                                     : trial.phone.into == Phone::Into::h264 ? ".mp4"
                                                                             : "");
    photograph(seen_of(gauge, trial.behaviour, profile, trial.phone.seed), trial.phone, file);
    CameraSettings camera;
    camera.from = file;
    camera.regions = (*folder / "regions.yaml").string();
    camera.readout_ms = trial.phone.readout_ms;
    if (trial.exposure_stated) camera.exposure_ms = trial.phone.exposure_ms;
    const RunResult result = judged(gauge, profile, camera);
    const bool is_wrong = result.verdict == (trial.is_sound ? Verdict::fail : Verdict::pass);
    wrong += is_wrong;
    ++counts[trial.kind][result.verdict];
    const auto bench = std::find_if(result.findings.begin(), result.findings.end(), [](const Finding& f) {
      return verdict_of(f.kind) == Verdict::undecided;
    });
    const std::string said = result.findings.empty() ? ""
                             : bench != result.findings.end() && result.verdict != Verdict::fail
                                 ? bench->message
                                 : result.findings.front().message;
    fmt::print("{} {}{}; {:.0f}/s, {:.1f} ms{} -> {}  {}\n", i, is_wrong ? "WRONG " : "", trial.what,
               trial.phone.fps, trial.phone.exposure_ms, trial.exposure_stated ? "" : " (not stated)",
               word(result.verdict), said);
    std::fflush(stdout);
    std::filesystem::remove_all(file);
  }
  fmt::print("\n| units | pass | undecided | fail |\n| --- | --- | --- | --- |\n");
  for (auto& [kind, count] : counts)
    fmt::print("| {} | {} | {} | {} |\n", kind, count[Verdict::pass], count[Verdict::undecided],
               count[Verdict::fail]);
  fmt::print("wrong verdicts: {} of {}\n", wrong, trials);
  return wrong == 0 ? 0 : 1;
}

}  // namespace
}  // namespace tachproof::test

int main(int argc, char** argv) {
  return tachproof::test::study(argc > 1 ? std::atoi(argv[1]) : 28,
                                argc > 2 ? static_cast<std::uint64_t>(std::atoll(argv[2])) : 1,
                                argc > 3 ? argv[3] : "");
}
