// What a filmed run came to, beside what is true of it.
#pragma once

#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>
#include <string_view>
#include <vector>

#include "bench/files/files.h"
#include "bench/files/regions.h"
#include "core/camera/lamp_colour.h"
#include "tests/camera/filmed_gauge.h"

namespace tachproof::test {

// A frame as tachproof-camera tells of it.
struct ToldFrame {
  Nanos at = 0;   // by the clip's clock
  int index = 0;  // of those that the camera took: dropped ones count
  bool again = false;
  std::vector<LampLook> looks;
  std::string letters;  // the sync lamp's last; empty: the dial was not found
};
std::vector<ToldFrame> frames_told(const std::filesystem::path& clip, const std::filesystem::path& regions,
                                   const Camera& camera);

struct LooksTally {  // per lamp and frame
  std::uint64_t looks = 0, wrong = 0, unclear = 0;
};
LooksTally compare_looks(const std::vector<ToldFrame>& frames, const Scene& scene, const Camera& camera);

// The run's time as the sync lamp tells it, once a second of the clip, less the true one; beside the
// half-width that the clock states.
struct SyncError {
  double error_ms = 0, half_width_ms = 0;
};
std::vector<SyncError> compare_sync(const std::vector<ToldFrame>& frames, const Scene& scene,
                                    const Camera& camera, const Regions& regions, bool shutter_known);

// Changes in timeline.csv less the nearest true one to the same picture, in ms.
std::vector<double> compare_stamps(const std::filesystem::path& run, const Scene& scene);

struct ThresholdScore {
  std::string what;  // "wave rising"
  double off_rpm = 0, e_n = 0;
};
// A result's thresholds beside the unit's settings; none where a fault other
// than a moved boundary makes them another thing.
std::vector<ThresholdScore> beside_settings(const nlohmann::json& result, const Gauge& gauge,
                                            const Behaviour& behaviour);
// Beside those of another watcher of the same unit.
std::vector<ThresholdScore> beside_result(const nlohmann::json& result, const nlohmann::json& other);

}  // namespace tachproof::test
