#include "bench/run/whole_survey.h"

#include <fmt/format.h>

#include "core/base/text.h"

namespace tachproof {
namespace {

std::string wanted_note(const SurveyAsk& ask) {
  const std::string wanted =
      fmt::format("survey: every boundary was to be measured to U <= {} rpm (95 %)", ask.within_rpm);
  return ask.unknown ? wanted
                     : wanted +
                           ". A threshold passes when it is inside its tolerance by U or more; at most 2.5 % "
                           "of those that are outside then pass";
}

// What an unknown unit does, as far as it was found; what was not found is not written down as if
// it were.
void take_found(const SurveyAsk& ask, const FoundGauge& found, SurveyEvidence& evidence, WholeSurvey& out,
                std::vector<std::string>& notes) {
  notes = found.notes;
  if (found.troubles.empty() && evidence.complete) {
    out.found = found.gauge;
    const PulsesFound pulses = pulses_per_rev_found(found.gauge, ask.known);
    notes.push_back(pulses.sentence);
    out.found_as_set = with_deadband_as_set(found, pulses.gauge, ask.gauge);
    return;
  }
  for (const std::string& trouble : found.troubles)
    evidence.findings.push_back({FindingKind::lost_evidence, evidence.seen_until, "", "", trouble});
  evidence.complete = false;
}

}  // namespace

WholeSurvey run_survey(const SurveyAsk& ask, Rig& rig, RunFolder& folder, const SurveyHooks& hooks) {
  SurveySetup setup = survey_setup_of(rig, ask.within_rpm);
  // What an unknown unit does is looked for wherever it is.
  setup.to_the_end = ask.to_the_end || ask.unknown;
  setup.responses = ask.responses || ask.unknown;
  EvidenceWriter writer(folder, ask.gauge);
  UnknownSurvey unknown(ask.gauge, setup);
  SurveyPlanner planner(ask.gauge, setup);
  RunHooks heard = hooks;
  if (hooks.boundaries)
    heard.progress = [&](const RunProgress& progress) {
      if (ask.unknown)
        hooks.boundaries(progress, unknown.known(), unknown.wanted());
      else
        hooks.boundaries(progress, planner.known(), planner.wanted());
    };
  std::optional<std::string> said;
  SurveyEvidence evidence = play_survey(
      [&](const SurveyView& view) {
        if (ask.unknown) return unknown.next(view);
        std::vector<Step> steps = planner.next(view);
        if (planner.stops_because() && !said) {
          said = *planner.stops_because();
          if (hooks.announce) hooks.announce(*said);
        }
        return steps;
      },
      ask.gauge.pulses_per_rev, rig, &writer, heard, wake_up(ask.gauge, setup.judge.wired, !ask.unknown));

  WholeSurvey out;
  std::vector<std::string> notes;
  if (ask.unknown) take_found(ask, unknown.found(evidence.view()), evidence, out, notes);
  out.scenario = scenario_yaml("survey", evidence.steps, ask.within_rpm);
  out.result =
      judge_evidence(out.found ? *out.found : ask.gauge, setup.judge, evidence, &writer, hooks.evidence);
  if (ask.unknown) as_findings(out.result);
  if (said) notes.push_back(*said);
  notes.push_back(wanted_note(ask));
  if (const std::string note = rig.source->facts().note; !note.empty()) notes.push_back(note);
  if (evidence.waking > 0)
    notes.push_back(fmt::format("the survey began {} after the first pulse, when the unit answered",
                                say_span(evidence.waking)));
  out.result.notes.insert(out.result.notes.end(), notes.begin(), notes.end());
  writer.close(evidence.seen_until);
  out.trace = writer.trace();
  return out;
}

}  // namespace tachproof
