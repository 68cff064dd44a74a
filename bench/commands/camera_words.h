// What a command line can say of a camera or of a clip: the words of a rig file's
// camera, as options.
#pragma once

#include <string>

#include "bench/commands/command.h"
#include "bench/files/files.h"
#include "core/signal/profile.h"

namespace tachproof {

// An option's number; `otherwise` when it was not given. Throws UsageError when it
// is no number from `least` to `most`.
double option_number(const std::string& option, const std::string& text, double otherwise, double least,
                     double most);

// "'flash', which FILE does not press; it presses: sync, set"; nothing when it does.
std::string not_pressed(const std::string& action, const Profile& profile, const std::string& scenario_file);

struct CameraWords {
  std::string regions;  // declared by the command: what it means there differs
  std::string sync, fps, exposure_ms, readout_ms;

  void declare(Arguments& arguments);
  bool any() const;
  // Throws UsageError when one was given: they do not go with `what`.
  void refuse_any(const std::string& what) const;
  // Throws UsageError when --sync is an action that `profile` does not press.
  void check_sync(const Profile& profile, const std::string& scenario_file) const;
  // All but `from` and `live`. Throws UsageError.
  CameraSettings settings() const;
};

}  // namespace tachproof
