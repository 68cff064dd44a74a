// Units of independent physics before the second drawer: tests/study/unit.h drives the lamps,
// tests/study/oracle.h says what is true. Nothing here comes from the program's own simulator or its
// expectation.
#pragma once

#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "core/judge/result.h"
#include "tests/camera/photographed_gauge.h"
#include "tests/study/pair.h"

namespace tachproof::test {

extern const char* const photographed_gauge_yaml;

// What is played: every boundary both ways at two rates and by jumps, between flashes of the bench's lamp.
struct Drive {
  study::Road road;
  std::vector<Step> steps;
};
Drive photographed_drive();
std::string scenario_text(const Drive& drive);  // the same as a file

// A phone as it is set up for a day: frames, exposure, light.
Phone draw_phone(study::Draw& draw);

inline const std::vector<std::string> photographed_kinds{"sound", "dimmed", "alias", "colour", "fault"};

struct PhotographedUnit {
  std::string kind, what;  // `what`: in words
  bool is_sound = false;
  bool exposure_stated = true;
  Phone phone;
  study::Pair pair;
  // Of `kind`, before a phone that was `usual` when it was taught.
  static PhotographedUnit draw(const Gauge& gauge, const Phone& usual, const std::string& kind,
                               std::uint64_t seed);
  Photographed seen(const Profile& profile) const;
  // Each threshold that has a number, beside the unit's own: its error by its U.
  std::vector<double> errors_by_u(const RunResult& result) const;
};

// Verdict and thresholds of a result.json that another version of the program may have written.
RunResult result_of_any_version(const std::filesystem::path& file);

// The lamps of a sound unit in any profile, for teaching.
Photographed taught_unit(const Gauge& gauge, const Profile& profile);

}  // namespace tachproof::test
