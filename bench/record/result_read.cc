#include <cmath>
#include <limits>

#include "bench/record/causes_json.h"
#include "bench/record/certificate_json.h"
#include "bench/record/gauge_json.h"
#include "bench/record/json_values.h"
#include "bench/record/result_json.h"
#include "bench/record/summary.h"

namespace tachproof {
namespace {

Verdict verdict_from(const Json& object) {
  const std::string text = text_from(object, "verdict");
  for (const Verdict v : {Verdict::pass, Verdict::fail, Verdict::undecided})
    if (text == word(v)) return v;
  throw std::runtime_error("there is no verdict '" + text + "'");
}

// Of a row that may not have been asked for.
template <class Row>
void row_verdict_from(const Json& object, Row& row) {
  row.asked = text_from(object, "verdict") != "not asked";
  row.verdict = row.asked ? verdict_from(object) : Verdict::undecided;
}

std::optional<RpmBetween> between_from(const Json& object) {
  if (!object.contains("between_rpm")) return std::nullopt;
  const Json& pair = object.at("between_rpm");
  if (!pair.is_array() || pair.size() != 2) throw std::runtime_error("between_rpm is not a pair of numbers");
  return RpmBetween{number_of(pair[0], "between_rpm"), number_of(pair[1], "between_rpm")};
}

std::optional<Sits> sits_from(const Json& object) {
  if (object.at("sits").is_null()) return std::nullopt;
  const std::string text = text_from(object, "sits");
  if (const std::optional<Sits> sits = sits_named(text)) return sits;
  throw std::runtime_error("a deadband does not sit '" + text + "'");
}

std::vector<std::string> names_from(const Json& object, const char* key) {
  return object.contains(key) ? object.at(key).get<std::vector<std::string>>() : std::vector<std::string>{};
}

Direction direction_from(const Json& object) {
  const std::string text = text_from(object, "direction");
  for (const Direction d : {Direction::rising, Direction::falling})
    if (text == word(d)) return d;
  throw std::runtime_error("there is no direction '" + text + "'");
}

FindingKind kind_from(const Json& object) {
  const std::string text = text_from(object, "kind");
  for (int i = 0; i <= static_cast<int>(last_finding_kind); ++i)
    if (text == word(static_cast<FindingKind>(i))) return static_cast<FindingKind>(i);
  throw std::runtime_error("there is no finding of kind '" + text + "'");
}

// Of what a rig states of its times: the slowest there is needs a few seconds.
Nanos stated_span(const Json& object, const char* key, Nanos least = 0) {
  return nanos_of(object.at(key), key, least, 3600 * ns_per_s);
}

int small_count_from(const Json& object, const char* key) {
  return static_cast<int>(count_from(object, key, 1'000'000'000));
}

std::string state_from(const Json& json) { return json.contains("state") ? text_from(json, "state") : ""; }

TransitionResult transition_from(const Json& json) {
  TransitionResult t;
  t.boundary = text_from(json, "boundary");
  t.direction = direction_from(json);
  t.nominal_rpm = number_from(json, "nominal_rpm");
  t.earliest = instant_from(json, "earliest_s");
  t.nominal = instant_from(json, "nominal_s");
  t.latest = instant_from(json, "latest_s");
  t.seen = !json.at("at_s").is_null();
  if (t.seen) t.at = instant_from(json, "at_s");
  t.observed_rpm = number_from(json, "observed_rpm");
  t.deviation_rpm = number_from(json, "deviation_rpm");
  t.lowest_rpm = number_from(json, "lowest_rpm");
  t.highest_rpm = number_from(json, "highest_rpm");
  t.rate_rpm_per_s = number_from(json, "rate_rpm_per_s");
  t.step = json.at("step").get<bool>();
  t.expanded_uncertainty_rpm = number_from(json, "expanded_uncertainty_rpm");
  t.verdict = verdict_from(json);
  t.between_rpm = between_from(json);
  t.asked = !json.contains("asked") || json.at("asked").get<bool>();
  if (json.contains("remark")) t.remark = text_from(json, "remark");
  t.state = state_from(json);
  return t;
}

// null: infinite, for a result that was measured.
double dof_from(const Json& json) {
  return json.at("dof").is_null() ? std::numeric_limits<double>::infinity()
                                  : number_from(json, "dof", any_finite);
}

BudgetLine budget_line_from(const Json& json) {
  return {text_from(json, "component"), number_from(json, "standard_uncertainty_rpm"), dof_from(json)};
}

BoundaryResult boundary_from(const Json& json) {
  BoundaryResult b;
  b.boundary = text_from(json, "boundary");
  b.direction = direction_from(json);
  b.nominal_rpm = number_from(json, "nominal_rpm");
  b.threshold_rpm = number_from(json, "threshold_rpm");
  b.expanded_uncertainty_rpm = number_from(json, "expanded_uncertainty_rpm");
  b.response_ms = number_from(json, "response_ms");
  b.response_uncertainty_ms = number_from(json, "response_uncertainty_ms");
  b.visits = small_count_from(json, "visits");
  row_verdict_from(json, b);
  b.between_rpm = between_from(json);
  b.remark = text_from(json, "remark");
  for (const Json& line : json.at("budget")) b.budget.push_back(budget_line_from(line));
  b.coverage_factor = number_from(json, "coverage_factor");
  b.state = state_from(json);
  b.dof = std::isnan(b.coverage_factor) ? not_measured : dof_from(json);
  return b;
}

DeadbandResult deadband_from(const Json& json) {
  DeadbandResult d;
  d.boundary = text_from(json, "boundary");
  d.nominal_rpm = number_from(json, "nominal_rpm");
  d.width_rpm = number_from(json, "width_rpm");
  d.expanded_uncertainty_rpm = number_from(json, "expanded_uncertainty_rpm");
  d.coverage_factor = number_from(json, "coverage_factor");
  d.sits = sits_from(json);
  row_verdict_from(json, d);
  d.remark = text_from(json, "remark");
  d.state = state_from(json);
  return d;
}

ResponseResult response_from(const Json& json) {
  ResponseResult r;
  r.boundary = text_from(json, "boundary");
  r.direction = direction_from(json);
  r.response_ms = number_from(json, "response_ms");
  r.expanded_uncertainty_ms = number_from(json, "expanded_uncertainty_ms");
  r.coverage_factor = number_from(json, "coverage_factor");
  r.visits = small_count_from(json, "visits");
  row_verdict_from(json, r);
  r.remark = text_from(json, "remark");
  r.state = state_from(json);
  return r;
}

BlinkResult blink_from(const Json& json) {
  return {text_from(json, "window"), text_from(json, "lamp"),          number_from(json, "hz"),
          number_from(json, "duty"), small_count_from(json, "cycles"), verdict_from(json),
          state_from(json)};
}

FlickerResult flicker_from(const Json& json) {
  return {text_from(json, "boundary"),        number_from(json, "mean_rpm"),
          number_from(json, "duration_s"),    count_from(json, "changes"),
          number_from(json, "rate_per_min"),  number_from(json, "upper_95_per_min"),
          number_from(json, "limit_per_min"), verdict_from(json)};
}

AnswerResult answer_from(const Json& json) {
  return {instant_from(json, "at_s"), text_from(json, "question"), text_from(json, "answer"),
          text_from(json, "expected"), verdict_from(json)};
}

PressResult press_from(const Json& json) {
  PressResult p;
  p.button = text_from(json, "button");
  p.at = instant_from(json, "at_s");
  p.rpm = number_from(json, "rpm");
  if (!json.at("refused").is_null()) p.refused = json.at("refused").get<bool>();
  p.must_refuse = json.at("must_refuse").get<bool>();
  p.taken_rpm = number_from(json, "taken_rpm");
  p.expanded_uncertainty_rpm = number_from(json, "expanded_uncertainty_rpm");
  p.reaction_ms = number_from(json, "reaction_ms");
  p.verdict = verdict_from(json);
  p.remark = text_from(json, "remark");
  return p;
}

DimResult dim_from(const Json& json) {
  return {text_from(json, "button"),
          instant_from(json, "at_s"),
          number_from(json, "set_level"),
          number_from(json, "level"),
          number_from(json, "expanded_uncertainty"),
          text_from(json, "lamp"),
          verdict_from(json),
          text_from(json, "remark")};
}

PowerResult power_from(const Json& json) {
  PowerResult p;
  p.at = instant_from(json, "at_s");
  p.back_at = instant_from(json, "back_at_s");
  p.boot_ms = number_from(json, "boot_ms");
  p.expanded_uncertainty_ms = number_from(json, "expanded_uncertainty_ms");
  p.greeted_ms = number_from(json, "greeted_ms");
  // Since the supply's voltage is judged.
  if (json.contains("lowest_v")) {
    p.lowest_v = number_from(json, "lowest_v");
    p.went_dark = json.at("went_dark").get<bool>();
  }
  // Since boundaries are followed over a loss of power.
  if (json.contains("off_rpm")) {
    p.off_rpm = number_from(json, "off_rpm");
    p.off_uncertainty_rpm = number_from(json, "off_uncertainty_rpm");
  }
  p.verdict = verdict_from(json);
  p.remark = text_from(json, "remark");
  return p;
}

StateResult state_row_from(const Json& json) {
  StateResult s;
  s.state = text_from(json, "state");
  s.from = instant_from(json, "from_s");
  s.judged_from = instant_from(json, "judged_from_s");
  s.to = instant_from(json, "to_s");
  for (const Json& taken : json.at("taken"))
    s.taken.push_back(
        {text_from(taken, "boundary"), number_from(taken, "rpm"), number_from(taken, "doubt_rpm")});
  s.level = number_from(json, "level");
  if (json.contains("fed_v")) s.fed_v = number_from(json, "fed_v");
  return s;
}

Finding finding_from(const Json& json) {
  return {kind_from(json), instant_from(json, "at_s"), text_from(json, "window"), text_from(json, "lamp"),
          text_from(json, "message")};
}

RunResult result_from(const Json& json) {
  RunResult r;
  r.verdict = verdict_from(json);
  r.complete = json.at("complete").get<bool>();
  r.verdict = reported_verdict(r);  // whatever the file says of a run that was cut short
  r.duration = instant_from(json, "duration_s");
  for (const Json& item : json.at("transitions")) r.transitions.push_back(transition_from(item));
  for (const Json& item : json.at("boundaries")) r.boundaries.push_back(boundary_from(item));
  // Since deadbands and responses have rows of their own.
  if (json.contains("deadbands"))
    for (const Json& item : json.at("deadbands")) r.deadbands.push_back(deadband_from(item));
  if (json.contains("responses"))
    for (const Json& item : json.at("responses")) r.responses.push_back(response_from(item));
  for (const Json& item : json.at("blinks")) r.blinks.push_back(blink_from(item));
  const Json& scatter = json.at("scatter");
  r.scatter = {number_from(scatter, "rpm"), number_from(scatter, "ms"),
               number_from(scatter, "dof", any_finite)};
  // Since cameras date changes by what they saw.
  if (json.contains("stamps")) {
    const Json& stamps = json.at("stamps");
    r.stamps = StampTimes{stated_span(stamps, "width_ns"), stated_span(stamps, "uncertainty_ns"),
                          stated_span(stamps, "offset_ns")};
  }
  for (const Json& item : json.at("flicker")) r.flicker.push_back(flicker_from(item));
  for (const Json& item : json.at("answers")) r.answers.push_back(answer_from(item));
  for (const Json& item : json.at("levels"))
    r.levels.push_back({text_from(item, "lamp"), number_from(item, "level"), number_from(item, "pwm_hz")});
  // Since buttons and supply are judged.
  if (json.contains("presses")) {
    for (const Json& item : json.at("presses")) r.presses.push_back(press_from(item));
    for (const Json& item : json.at("dims")) r.dims.push_back(dim_from(item));
    for (const Json& item : json.at("powers")) r.powers.push_back(power_from(item));
  }
  if (json.contains("states"))
    for (const Json& item : json.at("states")) r.states.push_back(state_row_from(item));
  for (const Json& item : json.at("findings")) r.findings.push_back(finding_from(item));
  r.findings_left_out = count_from(json, "findings_left_out");
  r.not_judged = json.at("not_judged").get<std::vector<std::string>>();
  r.not_visited = names_from(json, "not_visited");
  r.not_asked = names_from(json, "not_asked");
  r.notes = json.at("notes").get<std::vector<std::string>>();
  // Since a dwell says what it comes to.
  if (json.contains("closing")) r.closing = text_from(json, "closing");
  const Json& evidence = json.at("evidence");
  r.evidence = {count_from(evidence, "pulses"), count_from(evidence, "lamp_changes"),
                count_from(evidence, "lost")};
  return r;
}

// Never below 0, always there.
double bound_from(const Json& object, const char* key, double most) {
  const double bound = number_from(object, key, most);
  if (!(bound >= 0)) throw std::runtime_error(fmt::format("{} is below 0, or not there", key));
  return bound;
}

void rig_from(const Json& rig, RunRecord& record) {
  record.source = text_from(rig, "source");
  record.watch = text_from(rig, "watch");
  record.source_description = text_from(rig, "source_description");
  record.watch_description = text_from(rig, "watch_description");
  BenchFacts& bench = record.bench;
  bench.source.tick = stated_span(rig, "source_tick_ns");
  bench.watcher.resolution = stated_span(rig, "watcher_resolution_ns");
  bench.watcher.stamp_uncertainty = stated_span(rig, "stamp_uncertainty_ns");
  bench.source.clock_ppm = bound_from(rig, "clock_ppm", 1e6);
  // Since signal generators are sources.
  if (rig.contains("source_lag_ns")) bench.source.lag = stated_span(rig, "source_lag_ns");
  if (rig.contains("source_rpm")) bench.source.rpm = bound_from(rig, "source_rpm", 1e5);
  // Since a rig may switch the unit's supply; the first may be below 0.
  constexpr Nanos longest_switch = 60 * ns_per_s;
  if (rig.contains("switch_from_ns"))
    bench.source.switch_from =
        nanos_of(rig.at("switch_from_ns"), "switch_from_ns", -longest_switch, longest_switch);
  if (rig.contains("switch_to_ns")) bench.source.switch_to = stated_span(rig, "switch_to_ns");
  // Since cameras are watchers.
  if (rig.contains("stamp_offset_ns")) bench.watcher.stamp_offset = stated_span(rig, "stamp_offset_ns");
  // Since a camera's clip may be judged without a sync lamp.
  if (rig.contains("time_by")) {
    const std::optional<TimeRelation> by = time_relation(text_from(rig, "time_by"));
    if (!by) throw std::runtime_error("this program does not know its time_by");
    bench.watcher.time_by = *by;
  }
}

RunRecord record_from(const Json& json) {
  if (json.at("format") != 1) throw std::runtime_error("its format is not 1");
  RunRecord record;
  record.result = result_from(json);
  // Since failed runs name their causes.
  record.causes = causes_from_json(json);
  // Since a survey may judge nothing.
  if (json.contains("purpose")) record.purpose = text_from(json, "purpose");
  if (!record.purpose.empty() && record.purpose != purpose_found)
    throw std::runtime_error("this program does not know its purpose");
  // Since a run may stop when it knows enough.
  if (json.contains("to_the_end")) record.to_the_end = json.at("to_the_end").get<bool>();
  const Json& gauge = json.at("gauge");
  record.gauge_name = text_from(gauge, "name");
  record.gauge_sha256 = text_from(gauge, "sha256");
  record.gauge = settings_from_json(gauge.at("settings"));
  const Json& scenario = json.at("scenario");
  record.scenario_name = text_from(scenario, "name");
  record.scenario_sha256 = text_from(scenario, "sha256");
  record.seed = count_from(scenario, "seed");
  rig_from(json.at("rig"), record);
  record.certificate = certificate_from_json(json.at("certificate"));
  identity_from_json(json.at("report"), record);
  record.unit_serial = text_from(json.at("unit"), "serial");
  record.started = text_from(json, "started");
  record.tool_version = text_from(json.at("tool"), "version");
  record.extra_tolerance_rpm = number_from(json, "extra_tolerance_rpm");
  for (const Json& input : json.at("inputs"))
    record.inputs.emplace_back(own_file_from(input, "file"), text_from(input, "sha256"));
  return record;
}

}  // namespace

RunRecord record_from_json(const std::string& text) {
  try {
    return record_from(parse_json(text));
  } catch (const nlohmann::json::exception&) {
    // The library's own words name its classes, which tells a user nothing.
    throw std::runtime_error("it is cut short, or not what this program writes");
  }
}

}  // namespace tachproof
