// suite.json, both ways.
#include <algorithm>

#include "bench/record/json_values.h"
#include "bench/run/suite.h"

namespace tachproof {
namespace {

Json attempt_to_json(const Attempt& a) {
  Json findings = Json::object();
  for (const auto& [kind, count] : a.findings) findings[kind] = count;
  return {{"folder", a.folder.empty() ? Json(nullptr) : text_to_json(a.folder)},
          {"verdict", word(a.verdict)},
          {"complete", a.complete},
          {"bench_could_not_tell", a.bench_could_not_tell},
          {"reused", a.reused},
          {"simulated", a.simulated},
          {"started", text_to_json(a.started)},
          {"duration_s", number_to_json(a.duration_s)},
          {"transitions", a.transitions},
          {"reason", text_to_json(a.reason)},
          {"findings", std::move(findings)},
          {"result_sha256", text_to_json(a.result_sha256)}};
}

Json pair_to_json(const SuiteRecord& record, const SuitePair& p) {
  const Outcome outcome = record.outcome(p);
  const std::optional<Verdict> verdict = verdict_of(outcome);
  Json inputs = Json::object();
  for (const FileSum& input : p.inputs) inputs[input.file] = text_to_json(input.sha256);
  return {{"gauge", text_to_json(p.gauge)},
          {"scenario", text_to_json(p.scenario)},
          {"outcome", word(outcome)},
          {"verdict", verdict ? Json(word(*verdict)) : Json(nullptr)},
          {"skipped_because", p.skipped_because.empty() ? Json(nullptr) : text_to_json(p.skipped_because)},
          {"attempts", list_of(p.attempts, attempt_to_json)},
          {"set_aside", list_of(p.set_aside, text_to_json)},
          {"shard", p.shard},
          {"expected_s", to_seconds(p.expected)},
          {"unit_serial", text_to_json(p.unit_serial)},
          {"gauge_name", text_to_json(p.gauge_title)},
          {"scenario_name", text_to_json(p.scenario_title)},
          {"gauge_file", text_to_json(p.gauge_file)},
          {"scenario_file", text_to_json(p.scenario_file)},
          {"rig_file", text_to_json(p.rig_file)},
          {"sha256", std::move(inputs)}};
}

Json counts_to_json(const SuiteRecord& record) {
  Json counts = {{"pairs", record.pairs.size()}};
  for (const Outcome o : {Outcome::pass, Outcome::pass_on_retry, Outcome::fail, Outcome::intermittent,
                          Outcome::undecided, Outcome::not_played, Outcome::skipped, Outcome::elsewhere}) {
    std::string key(word(o));
    std::replace(key.begin(), key.end(), '-', '_');
    counts[key] = std::count_if(record.pairs.begin(), record.pairs.end(),
                                [&](const SuitePair& p) { return record.outcome(p) == o; });
  }
  std::size_t attempts = 0, reused = 0;
  for (const SuitePair& p : record.pairs)
    for (const Attempt& a : p.attempts) {
      ++attempts;
      reused += a.reused;
    }
  counts["attempts"] = attempts;
  counts["reused_attempts"] = reused;
  return counts;
}

constexpr std::size_t most_shards = 1'000'000;  // that --shard takes
constexpr std::uint64_t most_counted = 1'000'000'000'000;

Verdict verdict_from(const Json& object) {
  const std::string text = text_from(object, "verdict");
  for (const Verdict v : {Verdict::pass, Verdict::fail, Verdict::undecided})
    if (word(v) == text) return v;
  throw std::runtime_error("'" + text + "' is no verdict");
}

Attempt attempt_from(const Json& json) {
  Attempt a;
  if (!json.at("folder").is_null()) a.folder = path_below_from(json.at("folder"));
  a.verdict = verdict_from(json);
  a.complete = json.at("complete").get<bool>();
  a.bench_could_not_tell = json.at("bench_could_not_tell").get<bool>();
  a.reused = json.at("reused").get<bool>();
  // Since pages say which runs were simulated.
  if (json.contains("simulated")) a.simulated = json.at("simulated").get<bool>();
  a.started = text_from(json, "started");
  a.duration_s = number_from(json, "duration_s");
  a.transitions = count_from(json, "transitions");
  a.reason = text_from(json, "reason");
  for (const auto& [kind, ignored] : json.at("findings").items())
    a.findings.emplace_back(kind, count_from(json.at("findings"), kind.c_str(), most_counted));
  a.result_sha256 = text_from(json, "result_sha256");
  return a;
}

SuitePair pair_from(const Json& json) {
  SuitePair p;
  p.gauge = own_file_from(json, "gauge");  // both are the names of folders
  p.scenario = own_file_from(json, "scenario");
  if (!json.at("skipped_because").is_null()) p.skipped_because = text_from(json, "skipped_because");
  for (const Json& attempt : json.at("attempts")) p.attempts.push_back(attempt_from(attempt));
  for (const Json& folder : json.at("set_aside")) p.set_aside.push_back(path_below_from(folder));
  p.shard = static_cast<int>(count_from(json, "shard", most_shards));
  p.expected = instant_from(json, "expected_s");
  if (p.expected < 0) throw std::runtime_error("expected_s is below 0");
  p.unit_serial = text_from(json, "unit_serial");
  p.gauge_title = text_from(json, "gauge_name");
  p.scenario_title = text_from(json, "scenario_name");
  p.gauge_file = text_from(json, "gauge_file");
  p.scenario_file = text_from(json, "scenario_file");
  p.rig_file = text_from(json, "rig_file");
  for (const auto& [role, sha256] : json.at("sha256").items())
    p.inputs.push_back({role, sha256.get<std::string>()});
  return p;
}

// So that their times can be added up.
void require_playable(const std::vector<SuitePair>& pairs) {
  double together_s = 0;
  for (const SuitePair& pair : pairs) together_s += to_seconds(pair.expected);
  if (!(together_s < most_seconds))
    throw std::runtime_error(
        fmt::format("its pairs take {:.4g} s together, and a suite is played in less than "
                    "{:.0e} s",
                    together_s, most_seconds));
}

// A shard has a pair at least.
void shards_from(const Json& json, SuiteRecord& record) {
  const std::uint64_t of = count_from(json, "of");
  if (of == 0) throw std::runtime_error("it is of no shards");
  if (of > std::min(record.pairs.size(), most_shards))
    throw std::runtime_error(
        fmt::format("it says that it is one of {} shards of {} pairs", of, record.pairs.size()));
  record.shards = static_cast<int>(of);
  const Json& here = json.at("here");
  if (!here.is_array() || here.empty()) throw std::runtime_error("it is of no shard");
  for (const Json& shard : here) {
    if (!shard.is_number_unsigned() || shard.get<std::uint64_t>() == 0 ||
        shard.get<std::uint64_t>() > static_cast<std::uint64_t>(record.shards))
      throw std::runtime_error("it is of a shard that there is not");
    record.here.push_back(shard.get<int>());
  }
}

SuiteRecord record_from(const Json& json) {
  if (json.at("format") != 1) throw std::runtime_error("its format is not 1, the only one that is read");
  SuiteRecord record;
  record.tool_version = text_from(json.at("tool"), "version");
  record.started = text_from(json, "started");
  if (!json.at("ended").is_null()) record.ended = text_from(json, "ended");
  record.plan_sha256 = text_from(json, "plan_sha256");
  record.retry.times = static_cast<int>(count_from(json.at("retry"), "times", 100));
  record.retry.fails = json.at("retry").at("verdicts").size() > 1;
  for (const Json& pair : json.at("pairs")) record.pairs.push_back(pair_from(pair));
  require_playable(record.pairs);
  shards_from(json.at("shards"), record);
  for (const Json& note : json.at("notes")) record.notes.push_back(note.get<std::string>());
  return record;
}

}  // namespace

std::string suite_json(const SuiteRecord& record) {
  Json retried = Json::array({"undecided"});
  if (record.retry.fails) retried.push_back("fail");
  const Json json = {
      {"format", 1},
      {"tool", {{"name", "tachproof"}, {"version", text_to_json(record.tool_version)}}},
      {"verdict", word(record.verdict())},
      {"complete", record.complete()},
      {"counts", counts_to_json(record)},
      {"started", text_to_json(record.started)},
      {"ended", record.ended.empty() ? Json(nullptr) : text_to_json(record.ended)},
      {"shards", {{"of", record.shards}, {"here", record.here}}},
      {"plan_sha256", text_to_json(record.plan_sha256)},
      {"retry", {{"times", record.retry.times}, {"verdicts", std::move(retried)}}},
      {"pairs", list_of(record.pairs, [&](const SuitePair& p) { return pair_to_json(record, p); })},
      {"notes", list_of(record.notes, text_to_json)}};
  return json_text(json, 2) + "\n";
}

SuiteRecord suite_from_json(const std::string& text) {
  try {
    return record_from(parse_json(text));
  } catch (const Json::exception& e) {
    throw std::runtime_error(std::string("it is not as a suite writes it: ") + e.what());
  }
}

}  // namespace tachproof
