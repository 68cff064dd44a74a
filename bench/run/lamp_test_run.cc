#include "bench/run/lamp_test_run.h"

#include "bench/run/survey_run.h"
#include "core/compare/cue_reading.h"
#include "core/judge/expectation.h"
#include "core/plan/lamp_test.h"

namespace tachproof {

LampTest play_lamp_test(const Gauge& gauge, Rig& rig, const RunHooks& hooks, const std::string& sync) {
  std::vector<Step> steps = lamp_test_steps(gauge, sync);
  const NextSteps all_at_once = [&](const SurveyView&) { return std::exchange(steps, {}); };
  const SurveyEvidence evidence = play_survey(all_at_once, gauge.pulses_per_rev, rig, nullptr, hooks);
  LampTest test;
  for (const Finding& finding : evidence.findings) test.troubles.push_back(finding.message);
  if (test.troubles.empty() && (!evidence.complete || evidence.lost > 0))
    test.troubles.emplace_back("the lamp test stopped before its end: run it again");
  if (test.troubles.empty() && evidence.events.empty())
    test.troubles.emplace_back(
        "the watcher reported no lamp state: check that it is connected, then run again");
  const Profile profile(evidence.steps);
  const ExpectedRun expected = expect(gauge, profile);
  test.shown = shown_cues(gauge, expected.reaches, evidence.events, evidence.seen_until);
  return test;
}

}  // namespace tachproof
