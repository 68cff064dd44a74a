// One camera, taught once, for all tests of a program.
#pragma once

#include "tests/bench/scratch_folder.h"
#include "tests/camera/clip_trials.h"

namespace tachproof::test {

inline const TaughtCamera& shared_camera() {
  static const ScratchFolder folder;
  static const TaughtCamera camera(folder.path(), 5, 0.75);
  return camera;
}

}  // namespace tachproof::test
