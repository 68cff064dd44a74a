// What a driver must see of a sound unit while a profile is driven: which window for how long, and a
// page that draws it. Nothing of it was seen; all comes from the settings and the profile.
#pragma once

#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

#include "core/judge/expectation.h"

namespace tachproof {

struct WindowSeen {
  std::size_t times = 0;  // that it is shown, once more after each return
  Nanos in_all = 0;
  Nanos longest = 0;
};

// For each window of the gauge, by the nominal instants: exact thresholds, fastest allowed response.
std::vector<WindowSeen> windows_seen(const Gauge& gauge, const ExpectedRun& expected, Nanos duration);

std::string seen_text(const Gauge& gauge, const std::vector<WindowSeen>& seen);
void add_seen(nlohmann::ordered_json& out, const Gauge& gauge, const std::vector<WindowSeen>& seen);

std::string driver_view_html(const Gauge& gauge, const std::string& scenario, const Profile& profile,
                             const ExpectedRun& expected);

}  // namespace tachproof
