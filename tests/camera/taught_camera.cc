#include "tests/camera/taught_camera.h"

#include <array>
#include <fstream>
#include <stdexcept>
#include <string_view>

#include "bench/rigs/simulated/simulated_unit.h"
#include "core/camera/teaching.h"
#include "core/signal/pulse_train.h"
#include "tests/program/process.h"

namespace tachproof::test {
namespace {

constexpr std::string_view gauge_text = R"(format: 1
kind: gauge
name: Tarn five-lamp gauge
pulses_per_rev: 3
lamps:
  - {id: reed, colours: [blue]}
  - {id: moss, colours: [white, blue]}
  - {id: brink, colours: [cyan]}
  - {id: fern, colours: [white]}
  - {id: stone, colours: [magenta]}
windows:
  - {name: still, from: 0, show: {}}
  - {name: stir, from: 2600, show: {reed: blue}}
  - {name: ripple, from: 2760, show: {reed: blue, moss: blue}}
  - {name: wave, from: 2920, show: {moss: white, fern: white, stone: magenta}}
  - {name: spill, from: 3080, show: {brink: cyan blinking}}
deadband: {rpm: 20, sits: below}
blink: {hz: 2, duty: 0.5}
tolerance: {rpm: 15, response_ms: {from: 0, to: 300}, settle_ms: 10, blink_hz: 0.2, blink_duty: 0.2}
)";

constexpr std::string_view scenario_text = R"(format: 1
kind: scenario
name: filmed
seed: 3
profile:
  - {hold: 2500, for: 1s}
  - {press: sync, for: 300ms}
  - {hold: 2500, for: 700ms}
  - {ramp: 3180, rate: 130}
  - {hold: 3180, for: 2500ms}
  - {press: sync, for: 200ms}
  - {ramp: 2500, rate: 130}
  - {hold: 2500, for: 500ms}
  - {step: 3000}
  - {hold: 3000, for: 800ms}
  - {step: 2500}
  - {hold: 2500, for: 800ms}
  - {press: sync, for: 500ms}
  - {hold: 2500, for: 500ms}
judge: {thresholds: false}
)";

}  // namespace

void write_text(const std::filesystem::path& file, std::string_view text) { std::ofstream(file) << text; }

Scene scene_of(const Gauge& gauge, const Behaviour& behaviour, const Profile& profile, std::uint64_t seed) {
  Scene scene{gauge, {}, {}};
  SimulatedUnit unit(gauge, behaviour, gauge, seed);
  PulseTrain train(profile, gauge.pulses_per_rev);
  std::array<Nanos, 4096> block;
  auto action = profile.actions().begin();
  const auto act_until = [&](Nanos until) {
    for (; action != profile.actions().end() && action->at <= until; ++action) unit.act(*action);
  };
  for (std::size_t n; (n = train.next(block)) > 0;) {
    act_until(block[n - 1]);
    unit.run({block.data(), n}, block[n - 1], scene.lamps);
  }
  act_until(profile.duration());
  unit.run({}, profile.duration(), scene.lamps);
  for (const Action& one : profile.actions())
    if (const Press* press = std::get_if<Press>(&one.what); press != nullptr && press->action == "sync")
      scene.flashes.emplace_back(one.at, one.at + press->lasts);
  return scene;
}

TaughtCamera::TaughtCamera(const std::filesystem::path& folder, std::uint64_t seed, double size,
                           std::optional<double> brightness)
    : folder_(folder) {
  std::filesystem::create_directories(folder_);
  write_text(folder_ / "gauge.yaml", gauge_text);
  write_text(folder_ / "scenario.yaml", scenario_text);
  gauge_ = load_gauge(folder_ / "gauge.yaml");
  Dice dice(seed * 7919 + 1);
  camera_.fps = dice.of({30.0, 30.0, 30.0, 50.0});
  camera_.exposure_ms = dice.between(3, 11);
  camera_.readout_ms = dice.one_in(6) ? 0 : dice.between(4, 900 / camera_.fps);  // 0: all rows at once
  camera_.brightness = dice.between(0.4, 2.2);
  camera_.noise = dice.between(0.8, 3.5);
  camera_.blur = dice.between(0.4, 1.3);
  camera_.run_starts_s = dice.between(0.2, 1.2);
  camera_.seed = seed;
  camera_.width = static_cast<int>(camera_.width * size);
  camera_.height = static_cast<int>(camera_.height * size);
  dim_ = dice.one_in(3) ? dice.between(0.3, 0.7) : 1;
  if (brightness) camera_.brightness = *brightness, dim_ = 1;

  const Profile profile(teaching_steps(gauge_, "sync"));
  Behaviour behaviour;
  behaviour.response_ms = 60;
  behaviour.dim = dim_;
  const Scene scene = scene_of(gauge_, behaviour, profile, seed);
  Camera camera = camera_;
  camera.lasts_s = camera.run_starts_s + to_seconds(profile.duration()) + 0.5;
  film(scene, camera, Clip::mjpg, (folder_ / "teaching.avi").string());
  const Finished taught = run_process(command_line("teach teaching.avi --gauge gauge.yaml"), folder_);
  if (taught.status != 0) throw std::runtime_error("teach: " + taught.out + taught.err);
}

}  // namespace tachproof::test
