#include "tests/camera/clip_truth.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <fstream>
#include <map>
#include <sstream>

#include "bench/rigs/camera/camera_lines.h"
#include "core/base/en_score.h"
#include "core/camera/frame_times.h"
#include "core/camera/lamp_frames.h"
#include "core/camera/sync_clock.h"
#include "tests/program/process.h"

namespace tachproof::test {
namespace {

bool is_one_of(const std::vector<int>& frames, int index) {
  return std::find(frames.begin(), frames.end(), index) != frames.end();
}

}  // namespace

std::vector<ToldFrame> frames_told(const std::filesystem::path& clip, const std::filesystem::path& regions,
                                   const Camera& camera) {
  std::filesystem::path program = TACHPROOF_PROGRAM;
  program.replace_filename("tachproof-camera");
  const Finished watched = run_process(
      {program.string(), "watch", clip.string(), "--regions", regions.string()}, clip.parent_path());
  std::vector<ToldFrame> frames;
  std::istringstream lines(watched.out);
  int index = 0;
  for (std::string line; std::getline(lines, line);) {
    if (!line.starts_with("frame ") && !line.starts_with("moved ")) continue;
    while (is_one_of(camera.dropped, index)) ++index;
    ToldFrame frame;
    frame.index = index++;
    frame.at = std::stoll(line.substr(6));
    if (line.starts_with("frame ")) {
      const std::size_t blank = line.find(' ', 6);
      frame.letters = line.substr(blank + 3, line.find(' ', blank + 3) - blank - 3);
      const FrameReading reading = read_frame_line(line).value();
      frame.again = reading.again;
      frame.looks = reading.looks;
    }
    frames.push_back(std::move(frame));
  }
  return frames;
}

LooksTally compare_looks(const std::vector<ToldFrame>& frames, const Scene& scene, const Camera& camera) {
  LooksTally tally;
  for (const ToldFrame& frame : frames) {
    if (frame.letters.empty() || frame.again || is_one_of(camera.repeated, frame.index)) continue;
    const std::vector<int> truth = truth_of(scene, camera, from_seconds(frame.index / camera.fps));
    for (std::size_t lamp = 0; lamp < truth.size(); ++lamp) {
      if (truth[lamp] == -2) continue;
      ++tally.looks;
      const LampLook look = frame.looks[lamp];
      if (look.state == LampLook::State::unclear || look.state == LampLook::State::other)
        ++tally.unclear;
      else if ((look.state == LampLook::State::dark ? -1 : static_cast<int>(look.colour)) != truth[lamp])
        ++tally.wrong;
    }
  }
  return tally;
}

std::vector<SyncError> compare_sync(const std::vector<ToldFrame>& frames, const Scene& scene,
                                    const Camera& camera, const Regions& regions, bool shutter_known) {
  // As the watcher has it: bench/rigs/camera/camera_timing.cc.
  const Nanos period = from_seconds(1 / camera.fps);
  const double readout_ns = shutter_known ? camera.readout_ms * 1e6 : static_cast<double>(period) / 2;
  LampFrames::Setup setup;
  setup.longest_unseen = from_seconds(2.2 / camera.fps);
  setup.exposure = shutter_known ? from_seconds(camera.exposure_ms * 1e-3) : period / 2;
  setup.exposure_within = {shutter_known ? setup.exposure * 9 / 10 : 0,
                           shutter_known ? std::min(setup.exposure * 11 / 10, period) : period};
  setup.readout = {static_cast<Nanos>(regions.sync->y / regions.height * readout_ns)};
  setup.rows = {static_cast<Nanos>(regions.sync->radius / regions.height * readout_ns)};
  LampFrames lamp(setup);
  FrameTimes times(period);
  SyncClock clock;
  for (const auto& [from, to] : scene.flashes) clock.flashed(from, to);
  std::vector<SyncError> errors;
  const int every = static_cast<int>(camera.fps);
  for (const ToldFrame& frame : frames) {
    if (frame.letters.empty() || !times.take(frame.at, frame.again)) continue;
    const LampLook look = frame.looks.back();
    lamp.add(frame.at, {&look, 1});
    for (const ChangeSpan& edge : lamp.take())
      clock.seen(edge.after, edge.before, edge.changes[0].to != lamp_dark);
    if (frame.index % every != 0 || !clock.consistent()) continue;
    const auto offset = clock.offset_at(frame.at);
    if (!offset) continue;
    // When the sync lamp's row was read: the others' are in the doubt that the watcher adds.
    const double row_s = camera.readout_ms * 1e-3 * regions.sync->y / regions.height;
    const double truth = run_time(camera, frame.index / camera.fps + row_s);
    errors.push_back({(static_cast<double>(frame.at + setup.readout[0] + offset->middle()) - truth) * 1e-6,
                      static_cast<double>(offset->half_width()) * 1e-6});
  }
  return errors;
}

std::vector<double> compare_stamps(const std::filesystem::path& run, const Scene& scene) {
  std::ifstream in(run / "timeline.csv");
  std::string line;
  std::getline(in, line);
  std::vector<double> errors;
  bool first = true;
  while (std::getline(in, line)) {
    std::istringstream cells(line);
    std::string cell;
    std::getline(cells, cell, ',');
    const double at_s = std::stod(cell);
    Channels lit = 0;
    for (std::size_t c = 0; std::getline(cells, cell, ','); ++c)
      if (cell == "1") lit |= Channels{1} << c;
    if (std::exchange(first, false)) continue;
    double nearest = 1e9;
    for (const LampEvent& event : scene.lamps)
      if (event.lit == lit && std::abs(at_s - to_seconds(event.at)) < std::abs(nearest))
        nearest = at_s - to_seconds(event.at);
    if (std::abs(nearest) < 0.25) errors.push_back(nearest * 1e3);
  }
  return errors;
}

std::vector<ThresholdScore> beside_settings(const nlohmann::json& result, const Gauge& gauge,
                                            const Behaviour& behaviour) {
  std::map<std::string, double> moved;
  for (const FaultSetting& fault : behaviour.faults) {
    if (fault.kind != "boundary-moved") return {};
    moved[fault.words.at("boundary")] = fault.numbers.at("by_rpm");
  }
  std::vector<ThresholdScore> scores;
  for (const auto& row : result.at("boundaries")) {
    if (!row.at("threshold_rpm").is_number()) continue;
    for (std::size_t b = 1; b <= gauge.boundaries(); ++b) {
      if (gauge.windows[b].name != row.at("boundary")) continue;
      const double truth = (row.at("direction") == "rising" ? gauge.rising_rpm(b) : gauge.falling_rpm(b)) +
                           (moved.count(gauge.windows[b].name) > 0 ? moved.at(gauge.windows[b].name) : 0);
      const double found = row.at("threshold_rpm");
      scores.push_back({gauge.windows[b].name + " " + row.at("direction").get<std::string>(), found - truth,
                        en_score(found, truth, row.at("expanded_uncertainty_rpm"), 0)});
    }
  }
  return scores;
}

std::vector<ThresholdScore> beside_result(const nlohmann::json& result, const nlohmann::json& other) {
  std::vector<ThresholdScore> scores;
  for (const auto& row : result.at("boundaries"))
    for (const auto& same : other.at("boundaries")) {
      if (row.at("boundary") != same.at("boundary") || row.at("direction") != same.at("direction")) continue;
      const auto &x = row.at("threshold_rpm"), &reference = same.at("threshold_rpm");
      if (!x.is_number() || !reference.is_number()) continue;
      scores.push_back(
          {row.at("boundary").get<std::string>() + " " + row.at("direction").get<std::string>(),
           x.get<double>() - reference.get<double>(),
           en_score(x, reference, row.at("expanded_uncertainty_rpm"), same.at("expanded_uncertainty_rpm"))});
    }
  return scores;
}

}  // namespace tachproof::test
