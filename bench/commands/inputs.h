// The files of a run, read once: what was read is what is played, kept and hashed,
// whatever happens to the file in between.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "bench/files/certificate.h"
#include "bench/files/files.h"
#include "bench/record/run_folder.h"
#include "core/signal/profile.h"

namespace tachproof {

struct InputFile {
  std::string file;   // as named
  std::string bytes;  // as read
  std::string sha256;
};

struct GaugeInput : InputFile {
  Gauge gauge;
};
struct ScenarioInput : InputFile {
  ScenarioFile scenario;
  Profile profile;  // empty where there is a dwell
};
struct RigInput : InputFile {
  RigFile rig;
};
struct WiringInput : InputFile {
  Wiring wiring;
};
struct CertificateInput : InputFile {
  Certificate certificate;
};

// Throw FileErrors; UsageError for steps that make no profile.
GaugeInput load_gauge_input(const std::string& file);
ScenarioInput load_scenario_input(const std::string& file);
RigInput load_rig_input(const std::string& file);
WiringInput load_wiring_input(const std::string& file);
CertificateInput load_certificate_input(const std::string& file);

// Of a rig that is in no file: `file` is only its name.
RigInput rig_input(std::string file, RigFile rig, std::string yaml);

// Of a scenario that is in no file, likewise.
ScenarioInput scenario_input(std::string file, ScenarioFile scenario, std::string yaml);

// Keeps what was read in the run folder; gives the line for the record's inputs.
std::pair<std::string, std::string> kept(RunFolder& folder, const InputFile& input, const std::string& as);
// A scenario, as scenario.yaml, with the files that it names; a line for each.
std::vector<std::pair<std::string, std::string>> kept_scenario_files(RunFolder& folder,
                                                                     const ScenarioInput& scenario);

}  // namespace tachproof
