#include "bench/commands/inputs.h"

#include "bench/commands/load.h"
#include "bench/record/disk.h"

namespace tachproof {
namespace {

InputFile as_read(const std::string& file, std::string bytes) {
  std::string sha256 = sha256_of(bytes);
  return {file, std::move(bytes), std::move(sha256)};
}

}  // namespace

GaugeInput load_gauge_input(const std::string& file) {
  std::string bytes;
  Gauge gauge = load_gauge(file, &bytes);
  return {as_read(file, std::move(bytes)), std::move(gauge)};
}

ScenarioInput load_scenario_input(const std::string& file) {
  std::string bytes;
  ScenarioFile scenario = load_scenario(file, &bytes);
  Profile profile = scenario.dwell ? Profile() : make_profile(scenario, file);
  return {as_read(file, std::move(bytes)), std::move(scenario), std::move(profile)};
}

RigInput load_rig_input(const std::string& file) {
  std::string bytes;
  RigFile rig = load_rig(file, &bytes);
  return {as_read(file, std::move(bytes)), std::move(rig)};
}

WiringInput load_wiring_input(const std::string& file) {
  std::string bytes;
  Wiring wiring = load_wiring(file, &bytes);
  return {as_read(file, std::move(bytes)), std::move(wiring)};
}

CertificateInput load_certificate_input(const std::string& file) {
  std::string bytes;
  Certificate certificate = load_certificate(file, &bytes);
  return {as_read(file, std::move(bytes)), std::move(certificate)};
}

RigInput rig_input(std::string file, RigFile rig, std::string yaml) {
  return {as_read(file, std::move(yaml)), std::move(rig)};
}

std::pair<std::string, std::string> kept(RunFolder& folder, const InputFile& input, const std::string& as) {
  folder.keep_text(input.bytes, as);
  return {as, input.sha256};
}

}  // namespace tachproof
