// What a run folder keeps of a clip: where the lamps were taught (regions.yaml and the
// dial's picture), what was read of every frame (readings.txt, as bench/rigs/camera/camera_lines.h has
// it), and the clip's SHA-256 (clip.sha256: the path, then a sum for each file).
#pragma once

#include <filesystem>
#include <string>
#include <utility>
#include <vector>

#include "bench/files/files.h"
#include "bench/record/run_folder.h"
#include "bench/rigs/camera/camera.h"

namespace tachproof {

inline constexpr const char* readings_name = "readings.txt";

// Copies the regions and their picture, and sums the clip up, which a device has not. The inputs
// to list: name in the folder, SHA-256.
std::vector<std::pair<std::string, std::string>> keep_clip_evidence(RunFolder& folder,
                                                                    const CameraSettings& camera);

// The camera's program as the run heard it, from the folder. Throws std::runtime_error when the file
// cannot be read.
OpenCamera stored_readings(const std::filesystem::path& folder);

struct ClipAgain {
  enum class Outcome { same, differs, not_read } outcome = Outcome::not_read;
  std::string sentence;
};
// Reads the clip again where it is still as it was, and compares every frame with the readings.
ClipAgain read_clip_again(const std::filesystem::path& folder);

}  // namespace tachproof
