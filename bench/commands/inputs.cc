#include "bench/commands/inputs.h"

#include "bench/commands/load.h"
#include "bench/files/named_files.h"
#include "bench/record/disk.h"

namespace tachproof {
namespace {

InputFile as_read(const std::string& file, std::string bytes) {
  std::string sha256 = sha256_of(bytes);
  return {file, std::move(bytes), std::move(sha256)};
}

// `read(bytes)` loads the value and hands out what it read.
template <class Input, class Read>
Input read_once(const std::string& file, Read read) {
  std::string bytes;
  auto value = read(&bytes);
  return {as_read(file, std::move(bytes)), std::move(value)};
}

}  // namespace

GaugeInput load_gauge_input(const std::string& file) {
  return read_once<GaugeInput>(file, [&](std::string* bytes) { return load_gauge(file, bytes); });
}

ScenarioInput load_scenario_input(const std::string& file) {
  std::string bytes;
  ScenarioFile scenario = load_scenario(file, &bytes);
  Profile profile = scenario.dwell ? Profile() : make_profile(scenario, file);
  bytes = naming_the_copies(bytes, scenario.named);
  return {as_read(file, std::move(bytes)), std::move(scenario), std::move(profile)};
}

RigInput load_rig_input(const std::string& file) {
  return read_once<RigInput>(file, [&](std::string* bytes) { return load_rig(file, bytes); });
}

WiringInput load_wiring_input(const std::string& file) {
  return read_once<WiringInput>(file, [&](std::string* bytes) { return load_wiring(file, bytes); });
}

CertificateInput load_certificate_input(const std::string& file) {
  return read_once<CertificateInput>(file, [&](std::string* bytes) { return load_certificate(file, bytes); });
}

RigInput rig_input(std::string file, RigFile rig, std::string yaml) {
  return {as_read(file, std::move(yaml)), std::move(rig)};
}

ScenarioInput scenario_input(std::string file, ScenarioFile scenario, std::string yaml) {
  Profile profile = make_profile(scenario, file);
  yaml = naming_the_copies(yaml, scenario.named);
  return {as_read(file, std::move(yaml)), std::move(scenario), std::move(profile)};
}

std::pair<std::string, std::string> kept(RunFolder& folder, const InputFile& input, const std::string& as) {
  return {as, folder.keep_text(input.bytes, as)};
}

std::vector<std::pair<std::string, std::string>> kept_scenario_files(RunFolder& folder,
                                                                     const ScenarioInput& scenario) {
  std::vector<std::pair<std::string, std::string>> lines{kept(folder, scenario, "scenario.yaml")};
  for (const NamedFile& file : scenario.scenario.named)
    lines.emplace_back(file.kept_as, folder.keep_text(file.bytes, file.kept_as));
  return lines;
}

}  // namespace tachproof
