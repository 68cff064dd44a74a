// Random filmed runs, judged through the whole program, beside what is true.
#pragma once

#include <cstdint>
#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "bench/files/files.h"
#include "tests/camera/clip_truth.h"
#include "tests/camera/filmed_gauge.h"
#include "tests/camera/taught_camera.h"
#include "tests/program/process.h"

namespace tachproof::test {

// One filmed run: the camera as it was that day, and the unit.
struct Plan {
  Camera camera;
  Clip kind = Clip::mjpg;
  Behaviour behaviour;                       // healthy when it has no faults
  bool shutter_known = true;                 // the rig tells exposure and readout
  std::map<std::string, double> by_degrees;  // channels that fade, s
  std::string befell;                        // in words
  bool judge_too = false;                    // the clip without a rig file: see Trial::judged_otherwise
  bool bare_too = false;                     // again as if no sync lamp were in view: see Trial::bare
};
Plan plain_plan(const TaughtCamera& taught);
Plan random_plan(const TaughtCamera& taught, std::uint64_t seed);

struct Trial {
  std::string what;     // the clip, what befell it, and the unit's fault
  std::string verdict;  // of the run
  std::string first_finding;
  int status = -1;   // of the program
  std::string said;  // when it ended otherwise than by a verdict
  // What `judge` says of the same clip, where that is not what `run` says.
  std::string judged_otherwise;

  // What came of it without the sync lamp: never a pass.
  struct Bare {
    std::string verdict, finding, time_by;
    std::vector<double> stamp_errors_ms;  // where the clip was placed
    double stated_ms = 0;
  } bare;

  LooksTally looks;
  std::vector<SyncError> sync;
  bool all_seen = false;  // no evidence was lost
  // When all was seen: changes that were seen, and thresholds.
  std::vector<double> stamp_errors_ms;
  double stated_ms = 0;  // expanded uncertainty of a stamp, k = 2
  // Thresholds beside the unit's true ones, and beside those that a watcher with
  // wires to every lamp measures of the same unit in the same profile (not of one that takes every rpm
  // for another: its boundaries lie elsewhere).
  std::vector<ThresholdScore> beside_truth, beside_wires;
};

// Films a sound unit as NAME.avi, judges it by the program and keeps the run folder NAME.
Finished judge_plain_clip(const TaughtCamera& taught, const std::string& name);

Trial run_trial(const TaughtCamera& taught, const Plan& plan);

}  // namespace tachproof::test
