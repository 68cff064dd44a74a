#include "bench/commands/camera_words.h"

#include <fmt/format.h>

#include <set>
#include <variant>

#include "bench/commands/units.h"

namespace tachproof {

double option_number(const std::string& option, const std::string& text, double otherwise, double least,
                     double most) {
  if (text.empty()) return otherwise;
  const double value = plain_number(option, text);
  if (!(value >= least && value <= most))
    throw UsageError(fmt::format("{} is '{}'; it must be from {:g} to {:g}", option, text, least, most));
  return value;
}

std::string not_pressed(const std::string& action, const Profile& profile, const std::string& scenario_file) {
  std::set<std::string> pressed;
  for (const Action& one : profile.actions())
    if (const Press* press = std::get_if<Press>(&one.what)) pressed.insert(press->action);
  if (pressed.contains(action)) return {};
  std::string all;
  for (const std::string& name : pressed) all += (all.empty() ? "" : ", ") + name;
  return "'" + action + "', which " + scenario_file +
         (all.empty() ? " does not press: it presses nothing" : " does not press; it presses: " + all);
}

void CameraWords::check_sync(const Profile& profile, const std::string& scenario_file) const {
  if (sync.empty()) return;
  if (const std::string why = not_pressed(sync, profile, scenario_file); !why.empty())
    throw UsageError("--sync is " + why);
}

void CameraWords::declare(Arguments& arguments) {
  arguments.option(sync, "--sync", "ACTION",
                   "For a camera: the scenario's action that flashes the sync lamp. Default: sync.");
  arguments.option(fps, "--fps", "N", "For a camera: frames a second, where it does not say so itself.");
  arguments.option(exposure_ms, "--exposure-ms", "MS",
                   "For a camera: the exposure. If it is stated, instants are more certain.");
  arguments.option(readout_ms, "--readout-ms", "MS",
                   "For a camera: the time from reading a frame's first row to its last; likewise.");
}

bool CameraWords::any() const {
  return !(regions.empty() && sync.empty() && fps.empty() && exposure_ms.empty() && readout_ms.empty());
}

void CameraWords::refuse_any(const std::string& what) const {
  if (any())
    throw UsageError("--regions, --sync, --fps, --exposure-ms and --readout-ms do not go with " + what);
}

CameraSettings CameraWords::settings() const {
  CameraSettings camera;
  camera.regions = regions;
  if (!sync.empty()) camera.sync = sync;
  camera.fps = option_number("--fps", fps, camera.fps, 1, 1000);
  camera.exposure_ms = option_number("--exposure-ms", exposure_ms, camera.exposure_ms, 0.001, 1000);
  camera.readout_ms = option_number("--readout-ms", readout_ms, camera.readout_ms, 0, 1000);
  return camera;
}

}  // namespace tachproof
