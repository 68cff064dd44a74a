#include "bench/record/result_json.h"

#include "bench/record/causes_json.h"
#include "bench/record/certificate_json.h"
#include "bench/record/gauge_json.h"
#include "bench/record/json_values.h"
#include "bench/record/summary.h"

namespace tachproof {
namespace {

Json between_to_json(const RpmBetween& b) {
  return Json::array({number_to_json(b.low_rpm), number_to_json(b.high_rpm)});
}

// Of a unit that was pressed, or lost its supply.
template <class Row>
void state_into(Json& json, const Row& row) {
  if (!row.state.empty()) json["state"] = text_to_json(row.state);
}

// Member by member: a run may have a million of these, and a braced list first
// makes an array of every pair.
Json transition_to_json(const TransitionResult& t) {
  Json row = Json::object();
  row["boundary"] = text_to_json(t.boundary);
  row["direction"] = word(t.direction);
  row["at_s"] = t.seen ? Json(to_seconds(t.at)) : Json(nullptr);
  row["nominal_rpm"] = number_to_json(t.nominal_rpm);
  row["observed_rpm"] = number_to_json(t.observed_rpm);
  row["deviation_rpm"] = number_to_json(t.deviation_rpm);
  row["expanded_uncertainty_rpm"] = number_to_json(t.expanded_uncertainty_rpm);
  row["verdict"] = word(t.verdict);
  if (t.between_rpm) row["between_rpm"] = between_to_json(*t.between_rpm);
  if (!t.asked) row["asked"] = false;
  if (!t.remark.empty()) row["remark"] = text_to_json(t.remark);
  state_into(row, t);
  row["earliest_s"] = to_seconds(t.earliest);
  row["nominal_s"] = to_seconds(t.nominal);
  row["latest_s"] = to_seconds(t.latest);
  row["lowest_rpm"] = number_to_json(t.lowest_rpm);
  row["highest_rpm"] = number_to_json(t.highest_rpm);
  row["rate_rpm_per_s"] = number_to_json(t.rate_rpm_per_s);
  row["step"] = t.step;
  return row;
}

Json budget_line_to_json(const BudgetLine& line) {
  return {{"component", text_to_json(line.component)},
          {"standard_uncertainty_rpm", number_to_json(line.standard_uncertainty_rpm)},
          {"dof", number_to_json(line.dof)}};
}

Json boundary_to_json(const BoundaryResult& b) {
  Json row = {{"boundary", text_to_json(b.boundary)},
              {"direction", word(b.direction)},
              {"threshold_rpm", number_to_json(b.threshold_rpm)},
              {"expanded_uncertainty_rpm", number_to_json(b.expanded_uncertainty_rpm)},
              {"response_ms", number_to_json(b.response_ms)},
              {"visits", b.visits},
              {"verdict", row_word(b)},
              {"nominal_rpm", number_to_json(b.nominal_rpm)},
              {"response_uncertainty_ms", number_to_json(b.response_uncertainty_ms)},
              {"remark", text_to_json(b.remark)},
              {"budget", list_of(b.budget, budget_line_to_json)},
              {"coverage_factor", number_to_json(b.coverage_factor)},
              {"dof", number_to_json(b.dof)}};
  if (b.between_rpm) row["between_rpm"] = between_to_json(*b.between_rpm);
  state_into(row, b);
  return row;
}

Json deadband_to_json(const DeadbandResult& d) {
  Json row = {{"boundary", text_to_json(d.boundary)},
              {"width_rpm", number_to_json(d.width_rpm)},
              {"expanded_uncertainty_rpm", number_to_json(d.expanded_uncertainty_rpm)},
              {"sits", d.sits ? Json(word(*d.sits)) : Json(nullptr)},
              {"verdict", row_word(d)},
              {"nominal_rpm", number_to_json(d.nominal_rpm)},
              {"coverage_factor", number_to_json(d.coverage_factor)},
              {"remark", text_to_json(d.remark)}};
  state_into(row, d);
  return row;
}

Json response_to_json(const ResponseResult& r) {
  Json row = {{"boundary", text_to_json(r.boundary)},
              {"direction", word(r.direction)},
              {"response_ms", number_to_json(r.response_ms)},
              {"expanded_uncertainty_ms", number_to_json(r.expanded_uncertainty_ms)},
              {"verdict", row_word(r)},
              {"coverage_factor", number_to_json(r.coverage_factor)},
              {"visits", r.visits},
              {"remark", text_to_json(r.remark)}};
  state_into(row, r);
  return row;
}

Json blink_to_json(const BlinkResult& b) {
  Json row = {{"window", text_to_json(b.window)}, {"lamp", text_to_json(b.lamp)},
              {"hz", number_to_json(b.hz)},       {"duty", number_to_json(b.duty)},
              {"verdict", word(b.verdict)},       {"cycles", b.cycles}};
  state_into(row, b);
  return row;
}

Json flicker_to_json(const FlickerResult& f) {
  return {{"boundary", text_to_json(f.boundary)},
          {"mean_rpm", number_to_json(f.mean_rpm)},
          {"duration_s", number_to_json(f.duration_s)},
          {"changes", f.changes},
          {"rate_per_min", number_to_json(f.rate_per_min)},
          {"upper_95_per_min", number_to_json(f.upper_95_per_min)},
          {"limit_per_min", number_to_json(f.limit_per_min)},
          {"verdict", word(f.verdict)}};
}

Json answer_to_json(const AnswerResult& a) {
  return {{"at_s", to_seconds(a.at)},
          {"question", text_to_json(a.question)},
          {"answer", text_to_json(a.answer)},
          {"expected", text_to_json(a.expected)},
          {"verdict", word(a.verdict)}};
}

Json level_to_json(const LevelResult& l) {
  return {{"lamp", text_to_json(l.lamp)},
          {"level", number_to_json(l.level)},
          {"pwm_hz", number_to_json(l.pwm_hz)}};
}

Json press_to_json(const PressResult& p) {
  Json row = {{"button", text_to_json(p.button)},
              {"at_s", to_seconds(p.at)},
              {"rpm", number_to_json(p.rpm)},
              {"refused", p.refused ? Json(*p.refused) : Json(nullptr)},
              {"must_refuse", p.must_refuse},
              {"taken_rpm", number_to_json(p.taken_rpm)},
              {"expanded_uncertainty_rpm", number_to_json(p.expanded_uncertainty_rpm)},
              {"reaction_ms", number_to_json(p.reaction_ms)},
              {"verdict", word(p.verdict)},
              {"remark", text_to_json(p.remark)}};
  return row;
}

Json dim_to_json(const DimResult& d) {
  return {{"button", text_to_json(d.button)},
          {"at_s", to_seconds(d.at)},
          {"set_level", number_to_json(d.set_level)},
          {"level", number_to_json(d.level)},
          {"expanded_uncertainty", number_to_json(d.expanded_uncertainty)},
          {"lamp", text_to_json(d.lamp)},
          {"verdict", word(d.verdict)},
          {"remark", text_to_json(d.remark)}};
}

Json power_to_json(const PowerResult& p) {
  return {{"at_s", to_seconds(p.at)},
          {"back_at_s", to_seconds(p.back_at)},
          {"lowest_v", number_to_json(p.lowest_v)},
          {"went_dark", p.went_dark},
          {"boot_ms", number_to_json(p.boot_ms)},
          {"expanded_uncertainty_ms", number_to_json(p.expanded_uncertainty_ms)},
          {"greeted_ms", number_to_json(p.greeted_ms)},
          {"off_rpm", number_to_json(p.off_rpm)},
          {"off_uncertainty_rpm", number_to_json(p.off_uncertainty_rpm)},
          {"verdict", word(p.verdict)},
          {"remark", text_to_json(p.remark)}};
}

Json state_to_json(const StateResult& s) {
  const auto taken = [](const StateResult::Taken& one) {
    return Json{{"boundary", text_to_json(one.boundary)},
                {"rpm", number_to_json(one.rpm)},
                {"doubt_rpm", number_to_json(one.doubt_rpm)}};
  };
  return {{"state", text_to_json(s.state)},
          {"from_s", to_seconds(s.from)},
          {"judged_from_s", to_seconds(s.judged_from)},
          {"to_s", to_seconds(s.to)},
          {"taken", list_of(s.taken, taken)},
          {"level", number_to_json(s.level)},
          {"fed_v", number_to_json(s.fed_v)}};
}

Json finding_to_json(const Finding& f) {
  return {{"kind", word(f.kind)},
          {"at_s", to_seconds(f.at)},
          {"window", text_to_json(f.window)},
          {"lamp", text_to_json(f.lamp)},
          {"message", text_to_json(f.message)}};
}

Json gauge_part(const RunRecord& record) {
  return {{"name", text_to_json(record.gauge_name)},
          {"sha256", text_to_json(record.gauge_sha256)},
          {"settings", settings_to_json(record.gauge)}};
}

Json scenario_part(const RunRecord& record) {
  return {{"name", text_to_json(record.scenario_name)},
          {"sha256", text_to_json(record.scenario_sha256)},
          {"seed", record.seed}};
}

Json rig_part(const RunRecord& record) {
  const auto& source = record.bench.source;
  const auto& watcher = record.bench.watcher;
  Json rig = {{"source", text_to_json(record.source)},
              {"watch", text_to_json(record.watch)},
              {"source_description", text_to_json(record.source_description)},
              {"watch_description", text_to_json(record.watch_description)},
              {"source_tick_ns", source.tick},
              {"watcher_resolution_ns", watcher.resolution},
              {"stamp_uncertainty_ns", watcher.stamp_uncertainty},
              {"clock_ppm", number_to_json(source.clock_ppm)},
              {"source_lag_ns", source.lag},
              {"source_rpm", number_to_json(source.rpm)},
              {"stamp_offset_ns", watcher.stamp_offset},
              {"time_by", word(watcher.time_by)}};
  if (source.switch_from != 0) rig["switch_from_ns"] = source.switch_from;
  if (source.switch_to != 0) rig["switch_to_ns"] = source.switch_to;
  return rig;
}

Json scatter_to_json(const UnitScatter& s) {
  return {{"rpm", number_to_json(s.rpm)}, {"ms", number_to_json(s.ms)}, {"dof", number_to_json(s.dof)}};
}

}  // namespace

std::string result_json(const RunRecord& record) {
  const RunResult& r = record.result;
  Json json = {
      {"format", 1},
      {"tool", {{"name", "tachproof"}, {"version", text_to_json(record.tool_version)}}},
      {"verdict", word(reported_verdict(r))},
      {"complete", r.complete},
      {"gauge", gauge_part(record)},
      {"scenario", scenario_part(record)},
      {"rig", rig_part(record)},
      {"unit", {{"serial", text_to_json(record.unit_serial)}}},
      {"certificate", certificate_to_json(record.certificate)},
      {"report", identity_to_json(record)},
      {"started", text_to_json(record.started)},
      {"duration_s", to_seconds(r.duration)},
      {"extra_tolerance_rpm", number_to_json(record.extra_tolerance_rpm)},
      {"transitions", list_of(r.transitions, transition_to_json)},
      {"boundaries", list_of(r.boundaries, boundary_to_json)},
      {"deadbands", list_of(r.deadbands, deadband_to_json)},
      {"responses", list_of(r.responses, response_to_json)},
      {"blinks", list_of(r.blinks, blink_to_json)},
      {"scatter", scatter_to_json(r.scatter)},
      {"flicker", list_of(r.flicker, flicker_to_json)},
      {"answers", list_of(r.answers, answer_to_json)},
      {"levels", list_of(r.levels, level_to_json)},
      {"presses", list_of(r.presses, press_to_json)},
      {"dims", list_of(r.dims, dim_to_json)},
      {"powers", list_of(r.powers, power_to_json)},
      {"findings", list_of(r.findings, finding_to_json)},
      {"findings_left_out", r.findings_left_out},
      {"not_judged", list_of(r.not_judged, text_to_json)},
      {"not_visited", list_of(r.not_visited, text_to_json)},
      {"not_asked", list_of(r.not_asked, text_to_json)},
      {"notes", list_of(r.notes, text_to_json)},
      {"evidence",
       {{"pulses", r.evidence.pulses}, {"lamp_changes", r.evidence.lamp_changes}, {"lost", r.evidence.lost}}},
      {"inputs", list_of(record.inputs, [](const auto& input) {
         return Json{{"file", text_to_json(input.first)}, {"sha256", text_to_json(input.second)}};
       })}};
  causes_into_json(record.causes, json);
  if (!r.states.empty()) json["states"] = list_of(r.states, state_to_json);
  if (!r.closing.empty()) json["closing"] = text_to_json(r.closing);
  if (record.to_the_end) json["to_the_end"] = true;
  if (!record.purpose.empty()) json["purpose"] = text_to_json(record.purpose);
  if (r.stamps)
    json["stamps"] = {{"width_ns", r.stamps->width},
                      {"uncertainty_ns", r.stamps->uncertainty},
                      {"offset_ns", r.stamps->offset}};
  return json_text(json, 2) + "\n";
}

}  // namespace tachproof
