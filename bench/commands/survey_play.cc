#include "bench/commands/survey_play.h"

#include <fmt/format.h>

#include "bench/files/gauge_writer.h"
#include "bench/rigs/factory.h"
#include "bench/run/find_causes.h"
#include "bench/run/stop_request.h"

namespace tachproof {
namespace {

RunRecord begun(const SurveyPlay& survey, const Rig& rig, const ReportOptions& options) {
  RunRecord record = options.begun(survey.gauge);
  if (!survey.unit_serial.empty()) record.unit_serial = survey.unit_serial;
  record.scenario_name = "survey";
  note_rig(rig, record);
  if (survey.unknown) record.purpose = purpose_found;
  return record;
}

std::string keep(RunFolder& folder, RunRecord& record, const std::string& as, const std::string& text) {
  const std::string hash = folder.keep_text(text, as);
  record.inputs.emplace_back(as, hash);
  return hash;
}

}  // namespace

std::string boundaries_known(std::size_t known, std::size_t of) {
  return of == 0 ? "looking for boundaries" : fmt::format("{} of {} boundaries known", known, of);
}

PlayedRun play(const SurveyPlay& survey, const ReportOptions& options, const std::string& out,
               SurveyHooks hooks) {
  const Gauge& gauge = survey.gauge.gauge;
  catch_stop_signals();  // before a device is touched
  Rig rig = make_rig(survey.rig.rig, survey.rig.file, gauge, 0);
  RunRecord record = begun(survey, rig, options);
  RunFolder folder = options.make_folder(record, out);
  record.inputs.insert(record.inputs.begin(), kept(folder, survey.rig, "rig.yaml"));
  if (!survey.unknown) record.inputs.insert(record.inputs.begin(), kept(folder, survey.gauge, "gauge.yaml"));
  EvidenceLog evidence;
  hooks.evidence = &evidence;
  WholeSurvey whole = run_survey(
      {gauge, survey.within_rpm, survey.unknown, survey.known, options.to_the_end(), survey.responses}, rig,
      folder, hooks);

  if (whole.found) {
    record.gauge = *whole.found;
    record.gauge_sha256 = keep(folder, record, "gauge.yaml", gauge_yaml(record.gauge));
    keep(folder, record, "found.yaml", gauge_yaml(*whole.found_as_set));
  } else if (survey.unknown) {
    record.inputs.push_back(kept(folder, survey.gauge, "gauge.yaml"));
  }
  record.scenario_sha256 = keep(folder, record, "scenario.yaml", whole.scenario);
  record.result = std::move(whole.result);
  find_causes(record, evidence, folder, survey.gauge.file, options.accepted(record));
  folder.finish(record, whole.trace);
  return {std::move(record), std::move(folder)};
}

}  // namespace tachproof
